//! One sheet of a data file: where its headers are, and what stands in its columns.

use std::collections::BTreeMap;

use super::words::words;

/// A sheet as it was read: every row that holds a cell, with its number in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct RawSheet {
    /// The file, relative to the folder of the trial, with forward slashes.
    pub file: String,
    /// The sheet, where the file is a workbook.
    pub sheet: Option<String>,
    /// The encoding that a descriptor must declare; `None` where it needs none.
    pub encoding: Option<String>,
    /// Rows with their numbers, counted from 1; cells as text, trimmed.
    pub rows: Vec<(u64, Vec<String>)>,
}

/// Texts that stand for a missing value, in any case.
const MISSING: [&str; 6] = ["", "NA", "N/A", ".", "*", "-"];
/// Rows that may stand above the data.
const MOST_ROWS_ABOVE: usize = 40;
/// Rows that a header may take.
const MOST_HEADER_ROWS: usize = 3;
/// A column whose cells are numbers in at least this part is one of numbers.
const MOSTLY: f64 = 0.8;
/// Longest text of a header that has several rows.
const LONGEST_UPPER_HEADER: usize = 40;

/// A sheet with its headers found.
#[derive(Clone, Debug)]
pub(super) struct Sheet {
    pub(super) file: String,
    pub(super) sheet: Option<String>,
    pub(super) encoding: Option<String>,
    /// Row of the first header; 0 where there is none.
    pub(super) header_row: u64,
    /// Rows that the headers take.
    pub(super) header_rows: u64,
    /// Whether numbers have a decimal comma.
    pub(super) decimal_comma: bool,
    /// Texts above the headers, line by line.
    pub(super) titles: Vec<Vec<String>>,
    /// Rows below the headers.
    pub(super) rows: usize,
    pub(super) columns: Vec<Column>,
}

/// A column under its header.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// The header as a descriptor names it.
    pub(super) name: String,
    /// The words of the header.
    pub(super) words: Vec<String>,
    /// Its cells; `None` where missing.
    pub(super) cells: Vec<Option<String>>,
    /// Its cells as numbers; `None` where missing or no number.
    pub(super) numbers: Vec<Option<f64>>,
}

impl Column {
    /// Cells that are not missing.
    pub(super) fn filled(&self) -> usize {
        self.cells.iter().flatten().count()
    }

    /// Whether every cell that is not missing is a number, and there is one.
    pub(super) fn is_numeric(&self) -> bool {
        let numbers = self.numbers.iter().flatten().count();
        numbers > 0 && numbers == self.filled()
    }

    /// Lowest and highest number.
    pub(super) fn range(&self) -> Option<(f64, f64)> {
        let lowest = self.numbers.iter().flatten().copied().reduce(f64::min)?;
        let highest = self.numbers.iter().flatten().copied().reduce(f64::max)?;
        Some((lowest, highest))
    }

    /// Every text that occurs, with how often.
    pub(super) fn levels(&self) -> BTreeMap<&str, usize> {
        let mut levels = BTreeMap::new();
        for cell in self.cells.iter().flatten() {
            *levels.entry(cell.as_str()).or_insert(0) += 1;
        }
        levels
    }

    /// Every number that occurs, rising.
    pub(super) fn numeric_levels(&self) -> Vec<f64> {
        let mut levels: Vec<f64> = self.numbers.iter().flatten().copied().collect();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        levels
    }

    /// Whether any number has a fraction.
    pub(super) fn has_fractions(&self) -> bool {
        self.numbers.iter().flatten().any(|number| number.fract() != 0.0)
    }

    /// How its header reads in a sentence.
    pub(super) fn shown(&self) -> String {
        self.name.replace(char::is_control, " ")
    }
}

/// A number with the decimal sign of its file.
fn number(text: &str, decimal_comma: bool) -> Option<f64> {
    if !text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.,eE".contains(&byte)) {
        return None;
    }
    let value = match decimal_comma {
        false => text.parse::<f64>().ok(),
        true if text.contains('.') => None,
        true => text.replacen(',', ".", 1).parse().ok(),
    };
    value.filter(|value: &f64| value.is_finite())
}

fn is_missing(text: &str) -> bool {
    MISSING.iter().any(|missing| text.eq_ignore_ascii_case(missing))
}

/// Whether the numbers of a sheet have a decimal comma: some do, and none has a decimal point.
fn has_decimal_commas(rows: &[(u64, Vec<String>)]) -> bool {
    let with = |sign: char| {
        rows.iter().flat_map(|(_, cells)| cells).any(|cell| {
            let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
            cell.strip_prefix('-')
                .unwrap_or(cell)
                .split_once(sign)
                .is_some_and(|(whole, fraction)| digits(whole) && digits(fraction))
        })
    };
    with(',') && !with('.')
}

impl Sheet {
    /// Finds the headers of a sheet; `None` where it holds no table.
    pub(super) fn of(raw: &RawSheet) -> Option<Self> {
        let rows: Vec<&(u64, Vec<String>)> =
            raw.rows.iter().filter(|(_, cells)| cells.iter().any(|cell| !cell.is_empty())).collect();
        let decimal_comma = has_decimal_commas(&raw.rows);
        let width = rows.iter().map(|(_, cells)| cells.len()).max()?;
        let cell = |row: usize, column: usize| {
            rows.get(row).and_then(|(_, cells)| cells.get(column)).map_or("", |cell| cell.trim())
        };
        let is_number = |text: &str| number(text, decimal_comma).is_some();
        // What the columns hold is seen from the lower half, where no title or header stands.
        let numeric: Vec<bool> = (0..width)
            .map(|column| {
                let below = (rows.len() / 2..rows.len()).map(|row| cell(row, column)).filter(|text| !is_missing(text));
                let (mut all, mut numbers) = (0_u32, 0_u32);
                for text in below {
                    all += 1;
                    numbers += u32::from(is_number(text));
                }
                all > 0 && f64::from(numbers) >= MOSTLY * f64::from(all)
            })
            .collect();
        let over_numbers = |row: usize| {
            let filled = (0..width).filter(|column| numeric.get(*column) == Some(&true));
            filled.map(|column| cell(row, column)).filter(|text| !is_missing(text)).collect::<Vec<&str>>()
        };
        let any_numeric = numeric.contains(&true);
        // A row of data has numbers where numbers belong.
        let is_data = |row: usize| {
            let found = over_numbers(row);
            if any_numeric {
                !found.is_empty() && found.iter().filter(|text| is_number(text)).count() * 2 > found.len()
            } else {
                row > 0
            }
        };
        let first = (0..rows.len().min(MOST_ROWS_ABOVE))
            .find(|row| (*row..(*row + 3).min(rows.len())).all(is_data))
            .or_else(|| rows.len().checked_sub(1).filter(|last| is_data(*last)))?;
        let header = |row: usize| {
            let texts: Vec<&str> = (0..width).map(|column| cell(row, column)).filter(|text| !text.is_empty()).collect();
            let short = texts.iter().all(|text| text.chars().count() <= LONGEST_UPPER_HEADER);
            let beyond_two = (2..width).any(|column| !cell(row, column).is_empty());
            let differ = texts.iter().any(|text| Some(text) != texts.first());
            short && beyond_two && differ
        };
        let adjacent = |row: usize| match (rows.get(row), rows.get(row + 1)) {
            (Some(this), Some(next)) => this.0 + 1 == next.0,
            _ => false,
        };
        let mut top = first;
        while top > 0 && first - top < MOST_HEADER_ROWS && (top == first || (header(top - 1) && adjacent(top - 1))) {
            top -= 1;
        }
        let name = |column: usize| {
            let parts: Vec<String> = (top..first)
                .map(|row| cell(row, column).split_whitespace().collect::<Vec<_>>().join(" "))
                .filter(|part| !part.is_empty())
                .collect();
            if top == first { format!("column {}", column + 1) } else { parts.join(" ") }
        };
        let columns = (0..width).map(|column| {
            let text = |row: usize| Some(cell(row, column)).filter(|text| !is_missing(text));
            let cells: Vec<Option<String>> = (first..rows.len()).map(|row| text(row).map(str::to_owned)).collect();
            let numbers = cells.iter().map(|text| number(text.as_deref()?, decimal_comma)).collect();
            let name = name(column);
            Column { words: words(&name), name, cells, numbers }
        });
        Some(Self {
            file: raw.file.clone(),
            sheet: raw.sheet.clone(),
            encoding: raw.encoding.clone(),
            header_row: if top == first { 0 } else { rows.get(top).map_or(1, |(number, _)| *number) },
            header_rows: (first - top).max(1) as u64,
            decimal_comma,
            titles: (0..top)
                .map(|row| {
                    (0..width).map(|column| cell(row, column).to_owned()).filter(|text| !text.is_empty()).collect()
                })
                .collect(),
            rows: rows.len() - first,
            columns: columns.filter(|column| !column.name.is_empty()).collect(),
        })
    }

    /// Whether the given columns tell every row apart.
    pub(super) fn are_unique(&self, columns: &[&Column]) -> bool {
        let mut seen = std::collections::HashSet::new();
        !columns.is_empty()
            && (0..self.rows).all(|row| {
                let key: Vec<Option<&str>> =
                    columns.iter().map(|column| column.cells.get(row).and_then(Option::as_deref)).collect();
                !key.contains(&None) && seen.insert(key)
            })
    }

    /// The place in words: *plots.xlsx, sheet 2025*.
    pub(super) fn place(&self) -> String {
        self.sheet.as_ref().map_or_else(|| self.file.clone(), |sheet| format!("{}, sheet {sheet}", self.file))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> Sheet {
        let rows = (1..).zip(text.lines()).map(|(number, line)| {
            (number, line.split('|').map(|cell| cell.trim().to_owned()).collect::<Vec<String>>())
        });
        Sheet::of(&RawSheet { file: "plots.csv".to_owned(), sheet: None, encoding: None, rows: rows.collect() })
            .unwrap()
    }

    fn names(sheet: &Sheet) -> Vec<&str> {
        sheet.columns.iter().map(|column| column.name.as_str()).collect()
    }

    #[test]
    fn headers_are_found_below_titles() {
        let sheet =
            sheet("Osier Bend, N trial 2025\nsown 3 October\n\nplot|N|yield\n101|0|60.5\n102|40|.\n103|80|71\n");
        assert_eq!((sheet.header_row, sheet.header_rows, sheet.rows), (4, 1, 3));
        assert_eq!(names(&sheet), ["plot", "N", "yield"]);
        assert_eq!(sheet.titles.len(), 2);
        assert_eq!(sheet.columns[2].numbers, [Some(60.5), None, Some(71.0)]);
    }

    #[test]
    fn headers_of_two_rows_and_a_row_of_units_are_joined() {
        let sheet = sheet(
            "Site|Osier Bend\n\nPlot|N|NDVI|NDVI|Yield\n|kg/ha|2 Apr|16 Apr|Mg/ha\n1|0|0.4|0.5|4.1\n2|60|0.5|0.6|5\n3|90|0.5|0.7|6\n",
        );
        assert_eq!((sheet.header_row, sheet.header_rows), (3, 2));
        assert_eq!(names(&sheet), ["Plot", "N kg/ha", "NDVI 2 Apr", "NDVI 16 Apr", "Yield Mg/ha"]);
    }

    #[test]
    fn a_table_without_headers_has_numbered_columns() {
        let sheet = sheet("x|oa|61.375\nx|me|68.75\nw|sl|64\nw|ob|60");
        assert_eq!((sheet.header_row, sheet.rows), (0, 4));
        assert_eq!(names(&sheet), ["column 1", "column 2", "column 3"]);
    }

    #[test]
    fn decimal_commas_are_seen() {
        let with = sheet("plot|yield\n1|6,5\n2|7\n3|7,25");
        assert!(with.decimal_comma);
        assert_eq!(with.columns[1].numbers, [Some(6.5), Some(7.0), Some(7.25)]);
        assert!(!sheet("plot|yield\n1|6.5\n2|7\n3|7,250").decimal_comma);
    }
}
