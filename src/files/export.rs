//! Result tables as files of other programs: workbooks (XLSX) and Parquet.
//!
//! The same table gives the same bytes: a workbook's creation time is fixed, and nothing else in either format depends on the clock,
//! the machine or the number of threads. Numbers are numbers to the last bit, text is text (`=1+1` too), what is missing is an empty
//! cell or a null.

use std::collections::HashSet;

use polars::prelude::{Column, DataFrame};
use polars_io::parquet::write::{ParquetCompression, ParquetWriter};
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatBorder, IgnoreError, Workbook, Worksheet, XlsxError,
};

/// A cell of a result; that it is missing does not change what kind it is.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Words; never empty.
    Text(Option<String>),
    /// A number; finite, and no minus before a zero.
    Number(Option<f64>),
}

impl Cell {
    /// Words; empty ones are missing.
    #[must_use]
    pub fn text(text: Option<&str>) -> Self {
        Self::Text(text.filter(|text| !text.is_empty()).map(str::to_owned))
    }

    /// A number; one that is not finite is missing, minus zero is zero.
    #[must_use]
    pub fn number(value: Option<f64>) -> Self {
        Self::Number(value.filter(|value| value.is_finite()).map(|value| value + 0.0))
    }

    /// As a field of CSV: a number as the shortest decimal that reads back to it, nothing for what is missing.
    #[must_use]
    pub fn field(&self) -> String {
        match self {
            Self::Text(text) => text.clone().unwrap_or_default(),
            Self::Number(number) => number.map_or_else(String::new, |number| number.to_string()),
        }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::text(Some(text))
    }
}

impl From<u64> for Cell {
    fn from(count: u64) -> Self {
        // Exact up to 2⁵³: rows and counts stay far below.
        Self::Number(Some(count as f64))
    }
}

impl From<usize> for Cell {
    fn from(count: usize) -> Self {
        Self::from(count as u64)
    }
}

impl From<Option<u64>> for Cell {
    fn from(count: Option<u64>) -> Self {
        count.map_or(Self::Number(None), Self::from)
    }
}

impl From<Option<usize>> for Cell {
    fn from(count: Option<usize>) -> Self {
        Self::from(count.map(|count| count as u64))
    }
}

/// A table of results: one header, one record a row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What it is called: the name of its sheet, as far as a sheet may be called so.
    pub name: String,
    /// Column headers.
    pub columns: Vec<String>,
    /// Records, a cell a column; a short one ends with missing cells.
    pub rows: Vec<Vec<Cell>>,
}

/// Why a table can't be written in a format.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// More rows or columns than a sheet holds.
    #[error(
        "{table} has {rows} rows and {columns} columns; a sheet holds at most 1048576 and 16384 (CSV and Parquet hold them)"
    )]
    TooLarge {
        /// Name of the table.
        table: String,
        /// Rows of it, the header included.
        rows: usize,
        /// Columns of it.
        columns: usize,
    },
    /// The writer refuses.
    #[error("{0}")]
    Refused(String),
}

impl From<XlsxError> for ExportError {
    fn from(error: XlsxError) -> Self {
        Self::Refused(error.to_string())
    }
}

/// Rows of a sheet.
const MOST_ROWS: usize = 1_048_576;
/// Columns of a sheet.
const MOST_COLUMNS: usize = 16_384;
/// Characters of a cell (UTF-16 units, which is what the limit counts).
const LONGEST_TEXT: usize = 32_767;
/// Characters of a sheet's name.
const LONGEST_NAME: usize = 31;
/// Widest column, in pixels: about sixty characters.
const WIDEST: u32 = 425;

/// Tables as a workbook, a sheet each in the order given: header bold and in view while scrolling, columns as wide as their content up
/// to a limit. Sheets are named after their tables as far as a sheet may be called so. Text that is longer than a cell may hold
/// (32767 characters) ends with an ellipsis.
///
/// # Errors
/// A table that is larger than a sheet.
pub fn xlsx(title: &str, tables: &[Table]) -> Result<Vec<u8>, ExportError> {
    let mut workbook = Workbook::new();
    // A fixed time: the same results give the same bytes.
    let created = ExcelDateTime::from_ymd(2000, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_title(cut(title, 255)).set_creation_datetime(&created));
    let mut taken = HashSet::new();
    for table in tables {
        let sheet = workbook.add_worksheet();
        sheet.set_name(sheet_name(&table.name, &mut taken))?;
        fill(sheet, table)?;
    }
    Ok(workbook.save_to_buffer()?)
}

fn fill(sheet: &mut Worksheet, table: &Table) -> Result<(), ExportError> {
    let too_large = || ExportError::TooLarge {
        table: table.name.clone(),
        rows: table.rows.len() + 1,
        columns: table.columns.len(),
    };
    if table.rows.len() >= MOST_ROWS || table.columns.len() > MOST_COLUMNS {
        return Err(too_large());
    }
    let head = Format::new().set_bold().set_border_bottom(FormatBorder::Thin);
    for (column, name) in (0_u16..).zip(&table.columns) {
        sheet.write_string_with_format(0, column, cut(name, LONGEST_TEXT), &head)?;
    }
    for (row, cells) in (1_u32..).zip(&table.rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            match cell {
                Cell::Text(Some(text)) => sheet.write_string(row, column, cut(text, LONGEST_TEXT))?,
                Cell::Number(Some(number)) => sheet.write_number(row, column, *number)?,
                Cell::Text(None) | Cell::Number(None) => sheet,
            };
        }
    }
    let last_row = u32::try_from(table.rows.len()).map_err(|_| too_large())?;
    let last_column = u16::try_from(table.columns.len().saturating_sub(1)).map_err(|_| too_large())?;
    if last_row > 0 {
        // A plot called 101 is a name, not a number that was stored wrongly.
        sheet.ignore_error_range(1, 0, last_row, last_column, IgnoreError::NumberStoredAsText)?;
        sheet.autofilter(0, 0, last_row, last_column)?;
    }
    sheet.set_freeze_panes(1, 0)?.set_autofit_max_width(WIDEST).autofit();
    sheet.set_landscape().set_print_fit_to_pages(1, 0).set_repeat_rows(0, 0)?;
    Ok(())
}

/// A text that is short enough, or its beginning with an ellipsis.
fn cut(text: &str, longest: usize) -> String {
    if text.encode_utf16().count() <= longest {
        return text.to_owned();
    }
    let mut units = 1;
    let fits = |letter: &char| {
        units += letter.len_utf16();
        units <= longest
    };
    text.chars().take_while(fits).chain(['…']).collect()
}

/// A name that a sheet may have and no other of the workbook has: without `[ ] : * ? / \`, not `History`, no apostrophe at its ends,
/// 31 characters at most, alike in upper and lower case to no other.
fn sheet_name(name: &str, taken: &mut HashSet<String>) -> String {
    let legal = |letter: char| if letter.is_control() || "[]:*?/\\".contains(letter) { '-' } else { letter };
    let named: String = name.chars().map(legal).collect();
    let named = named.trim_matches(['\'', ' ']);
    let named = match named.to_lowercase().as_str() {
        "" => "table",
        "history" => "history of",
        _ => named,
    };
    let mut tries = (1_u32..).map(|number| {
        let ending = if number == 1 { String::new() } else { format!(" ({number})") };
        let beginning = cut(named, LONGEST_NAME - ending.len());
        beginning.trim_end_matches(['\'', ' ']).to_owned() + &ending
    });
    // There are fewer sheets than numbers.
    let found = tries.find(|candidate| taken.insert(candidate.to_lowercase()));
    found.unwrap_or_default()
}

/// A table as Parquet: a column of numbers as 64-bit floating point, a column with any words as text; what is missing is null. A
/// header that stands twice is told apart by a number.
///
/// Not compressed: every reader opens it, and the bytes depend on nothing but the table.
///
/// # Errors
/// None that a table's content can cause.
pub fn parquet(table: &Table) -> Result<Vec<u8>, ExportError> {
    let refused = |error: polars::error::PolarsError| ExportError::Refused(error.to_string());
    let mut taken = HashSet::new();
    let columns = (0..table.columns.len()).zip(&table.columns).map(|(position, name)| {
        let mut names = (1_u32..).map(|number| if number == 1 { name.clone() } else { format!("{name}_{number}") });
        let name = names.find(|candidate| taken.insert(candidate.clone())).unwrap_or_default();
        let cells = || table.rows.iter().map(move |row| row.get(position));
        let numbers = cells().flatten().any(|cell| matches!(cell, Cell::Number(_)));
        if numbers && !cells().flatten().any(|cell| matches!(cell, Cell::Text(Some(_)))) {
            let number = |cell: Option<&Cell>| if let Some(Cell::Number(number)) = cell { *number } else { None };
            Column::new(name.into(), cells().map(number).collect::<Vec<Option<f64>>>())
        } else {
            let text = |cell: Option<&Cell>| cell.map(Cell::field).filter(|text| !text.is_empty());
            Column::new(name.into(), cells().map(text).collect::<Vec<Option<String>>>())
        }
    });
    let columns = columns.collect();
    let mut frame = DataFrame::new(table.rows.len(), columns).map_err(refused)?;
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        .with_compression(ParquetCompression::Uncompressed)
        .set_parallel(false)
        .finish(&mut frame)
        .map_err(refused)?;
    Ok(bytes)
}
