//! One cell of a data file: what was typed, where, and what it means.

use jiff::civil::Date;

use super::date_format::{DateFormat, in_words, iso, serial, slashed, spoken};
use super::layout::{Decimal, Layout};
use super::number::{explain, is_formula_error, parse};
use super::table::Source;
use crate::finding::{Finding, Place};
use crate::trial::GrowthStage;

/// Nobody numbers more leaves.
const MOST_COUNTED: u32 = 1_000_000;
/// No field has more rows of plots, nor plots in a row.
const MOST_IN_FIELD: f64 = 1000.0;

/// A cell, trimmed, with its place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell<'t> {
    pub(super) source: &'t Source,
    pub(super) row: u64,
    pub(super) column: &'t str,
    /// Position of its column, from 0.
    pub(super) index: usize,
    pub(super) text: &'t str,
    /// Whether the file keeps it as a number, a date or a truth value rather than as text.
    pub(super) typed: bool,
}

impl<'t> Cell<'t> {
    /// Whether nothing was measured.
    pub(super) fn is_missing(&self) -> bool {
        self.source.layout.is_missing(self.text)
    }

    /// The number that stands here, if one does.
    pub(super) fn plain_number(&self) -> Option<f64> {
        // A number of a workbook has no decimal sign of its own.
        let decimal = if self.typed { Decimal::Point } else { self.source.layout.decimal };
        parse(self.text, decimal)
    }

    /// An error here.
    pub(super) fn error(&self, code: &'static str, text: impl Into<String>) -> Finding {
        let place = Place::file(&self.source.file).sheet(self.source.sheet.clone());
        Finding::error(code, place.row(self.row).column(self.column).value(self.text), text)
    }

    /// A finite number; `None` where it is missing.
    pub(super) fn number(&self) -> Result<Option<f64>, Finding> {
        if self.is_missing() {
            return Ok(None);
        }
        self.plain_number().map(Some).ok_or_else(|| {
            let (text, remedy) = explain(self.text, &self.source.layout);
            self.error("not-a-number", text).remedy(remedy)
        })
    }

    /// A number of at least 0; `None` where it is missing.
    pub(super) fn non_negative(&self, what: &str) -> Result<Option<f64>, Finding> {
        match self.number()? {
            Some(value) if value < 0.0 => Err(self
                .error("out-of-range", format!("{what} of {} is negative", self.text))
                .remedy("0 or more; leave the cell empty if it is missing")),
            value => Ok(value),
        }
    }

    /// A text that must be there.
    pub(super) fn label(&self, what: &str) -> Result<&'t str, Finding> {
        if is_formula_error(self.text) {
            let text = format!("the formula for the {what} gives {}", self.text);
            return Err(self.error("missing-cell", text).remedy("mend the formula"));
        }
        if !self.is_missing() {
            return Ok(self.text);
        }
        let area = self.source.merged.iter().find(|merged| {
            (merged.rows.0..=merged.rows.1).contains(&self.row)
                && (merged.columns.0..=merged.columns.1).contains(&self.index)
        });
        Err(match area {
            Some(merged) => {
                let text = format!(
                    "the {what} is missing: the cell is merged over rows {} to {}",
                    merged.rows.0, merged.rows.1
                );
                self.error("missing-cell", text).remedy("split the merged cells and fill in every row")
            }
            None => self
                .error("missing-cell", format!("the {what} is missing"))
                .remedy("fill in the cell; every row needs one"),
        })
    }

    /// A date that must be there: year-month-day, or as the file declares it.
    pub(super) fn date(&self) -> Result<Date, Finding> {
        let declared = self.source.layout.date_format.as_ref();
        iso(self.text).or_else(|| declared?.read(self.text)).ok_or_else(|| {
            let (text, remedy) = explain_date(self.text, &self.source.layout);
            self.error("not-a-date", text).remedy(remedy)
        })
    }

    /// A growth stage; `None` where it is missing.
    pub(super) fn stage(&self) -> Result<Option<GrowthStage>, Finding> {
        if self.is_missing() {
            return Ok(None);
        }
        GrowthStage::read(self.text)
            .map(Some)
            .map_err(|fault| self.error("not-a-stage", fault.to_string()).remedy(fault.remedy()))
    }

    /// A row of plots in the field, or a place in it, which must be there.
    pub(super) fn place(&self, what: &str) -> Result<u32, Finding> {
        let remedy =
            format!("number rows and columns of the field 1, 2, 3 … up to {MOST_IN_FIELD}; every plot needs both");
        if self.is_missing() {
            return Err(self.error("missing-cell", format!("the {what} is missing")).remedy(remedy));
        }
        match self.plain_number() {
            Some(number) if number.fract() == 0.0 && (1.0..=MOST_IN_FIELD).contains(&number) => Ok(number as u32),
            _ => {
                let text = format!("the {what} is {:?}, no whole number from 1 to {MOST_IN_FIELD}", self.text);
                Err(self.error("not-a-number", text).remedy(remedy))
            }
        }
    }

    /// A counting number; `None` where it is missing.
    pub(super) fn count(&self) -> Result<Option<u32>, Finding> {
        if self.is_missing() {
            return Ok(None);
        }
        match self.text.parse::<u32>() {
            Ok(count) if count <= MOST_COUNTED => Ok(Some(count)),
            _ => Err(self
                .error("not-a-number", format!("{:?} is not a whole number from 0 to {MOST_COUNTED}", self.text))
                .remedy("number the leaves 1, 2, 3 …")),
        }
    }
}

/// What a text that is no date looks like, and what would be right.
fn explain_date(text: &str, layout: &Layout) -> (String, String) {
    let declare = |format: &str| layout.declaration("date_format", &format!("{format:?}"));
    if is_formula_error(text) {
        return (format!("the formula for the date gives {text}"), "mend the formula".to_owned());
    }
    if let Some(declared) = &layout.date_format {
        let right = "write it so, or as year-month-day, such as 2024-04-02";
        return (format!("{text:?} is not a date written as {}", declared.name()), right.to_owned());
    }
    if let Some((sign, is_short, day_first, month_first)) = slashed(text) {
        let year = if is_short { "yy" } else { "year" };
        let first = |words: [&str; 2]| declare(&format!("{}{sign}{}{sign}{year}", words[0], words[1]));
        let (by_day, by_month) = (first(["day", "month"]), first(["month", "day"]));
        return match (day_first, month_first) {
            (Some(a), Some(b)) if a != b => (
                format!("{text:?} is {} or {}", spoken(a), spoken(b)),
                format!("declare {by_day} or {by_month} for the file, or write year-month-day, such as {a}"),
            ),
            (day_first, month_first) => {
                let declaration = if day_first.is_some() { by_day } else { by_month };
                let date = day_first.or(month_first).map_or_else(String::new, |date| date.to_string());
                (
                    format!("{text:?} is not written as year-month-day"),
                    format!("declare {declaration} for the file, or write {date}"),
                )
            }
        };
    }
    if let Some(date) = in_words(text) {
        let sign = if text.contains('-') { '-' } else { ' ' };
        let form = if text.starts_with(|letter: char| letter.is_ascii_digit()) {
            format!("day{sign}month{sign}year")
        } else {
            format!("month day{} year", if text.contains(',') { "," } else { "" })
        };
        let remedy = format!("declare {} for the file, or write {date}", declare(&form));
        return (format!("{text:?} is not written as year-month-day"), remedy);
    }
    if let Some(date) = text.parse().ok().and_then(serial) {
        let remedy = format!("format the cells as dates, or declare {}", declare(DateFormat::SERIAL));
        return (format!("{text:?} is a number; as the days that a spreadsheet counts it is {}", spoken(date)), remedy);
    }
    (format!("{text:?} is not a date"), "write dates as year-month-day, such as 2024-04-02".to_owned())
}

/// Keeps the value, or its finding.
pub(super) fn keep<T>(result: Result<T, Finding>, findings: &mut Vec<Finding>) -> Option<T> {
    result.map_err(|finding| findings.push(finding)).ok()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn with<T>(text: &str, date_format: Option<&str>, read: impl Fn(Cell) -> T) -> T {
        let date_format = date_format.map(|format| DateFormat::parse(format).unwrap());
        let layout = Layout { date_format, ..Layout::default() };
        let source = Source { file: "plots.csv".to_owned(), sheet: None, layout, merged: Vec::new() };
        read(Cell { source: &source, row: 7, column: "yield", index: 0, text, typed: false })
    }

    #[test]
    fn a_cell_is_missing_where_people_say_so() {
        for text in ["", "NA", "na", "N/A", ".", "*", "-"] {
            assert_eq!(with(text, None, |cell| cell.number()), Ok(None), "{text:?}");
        }
    }

    #[test]
    fn what_is_no_finite_number_is_refused_at_its_place() {
        for text in ["inf", "72,5", "twelve", "72 bu/ac"] {
            let finding = with(text, None, |cell| cell.number()).unwrap_err();
            assert_eq!((finding.code, finding.place.row), ("not-a-number", Some(7)), "{text:?}");
            assert_eq!(finding.place.value.as_deref(), Some(text));
        }
    }

    #[test]
    fn a_date_is_year_month_day_or_as_declared() {
        let read = |text: &str, format| with(text, format, |cell| cell.date()).map_err(|finding| finding.code);
        assert_eq!(read("2024-02-29", None), Ok(date(2024, 2, 29)));
        assert_eq!(read("2024-02-29", Some("day/month/year")), Ok(date(2024, 2, 29)));
        assert_eq!(read("03/04/2024", Some("day/month/year")), Ok(date(2024, 4, 3)));
        assert_eq!(read("45384", Some("spreadsheet-serial")), Ok(date(2024, 4, 2)));
        for text in ["", "2023-02-29", "03/04/2024", "45384", "3 June", "2024-02"] {
            assert_eq!(read(text, None), Err("not-a-date"), "{text:?}");
        }
    }

    #[test]
    fn what_is_no_date_is_named_for_what_it_looks_like() {
        let texts = [
            "03/04/2024",
            "25/04/2024",
            "04/25/2024",
            "03.04.24",
            "4/4/2024",
            "2-Apr-2024",
            "April 2, 2024",
            "45384",
            "spring",
        ];
        let told = |text: &str, format| {
            let finding = with(text, format, |cell| cell.date()).unwrap_err();
            format!("{}: {}", finding.text, finding.remedy.unwrap())
        };
        let mut lines: Vec<String> = texts.iter().map(|text| told(text, None)).collect();
        lines.push(told("2024/04/02", Some("day/month/year")));
        insta::assert_snapshot!(lines.join("\n"));
    }

    #[test]
    fn a_leaf_number_counts() {
        assert_eq!(with("12", None, |cell| cell.count()), Ok(Some(12)));
        for text in ["-1", "1.5", "first"] {
            assert_eq!(with(text, None, |cell| cell.count()).unwrap_err().code, "not-a-number", "{text:?}");
        }
    }
}
