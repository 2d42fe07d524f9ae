//! A report's tables as files: a CSV file each, and one workbook.

use super::content::{Block, Cell, Report, Table};
use crate::files::export::{self, ExportError};
use crate::output::long::csv;
use crate::output::numbers::NONE;
use crate::output::workbook::Sheet;
use crate::output::{OutputFile, SeasonReports, season_workbook};
use crate::season::Season;

impl Report {
    /// Every table, in the order of the report.
    pub fn tables(&self) -> impl Iterator<Item = &Table> {
        self.sections.iter().flat_map(|section| &section.blocks).filter_map(|block| match block {
            Block::Table(table) => Some(table),
            _ => None,
        })
    }

    /// Every table as a CSV file in the folder `tables`, named after it: numbers with all their digits, an empty field for what is not known.
    #[must_use]
    pub fn csv_files(&self) -> Vec<OutputFile> {
        self.tables()
            .map(|table| OutputFile::text(format!("tables/{}.csv", table.name), csv(&exported(table))))
            .collect()
    }

    /// Every table as a sheet of one workbook, then the long tables of the season that hold every plot and number, with a sheet that says what
    /// each is.
    ///
    /// # Errors
    /// A table that is too large for a sheet.
    pub fn workbook(&self, season: &Season, reports: &SeasonReports) -> Result<Vec<u8>, ExportError> {
        let sheets = self.tables().map(|table| Sheet::new(table.name.clone(), exported(table), table.title.clone()));
        season_workbook(season, reports, sheets.collect())
    }
}

/// A table as it is written to files; notes stay in the report.
fn exported(table: &Table) -> export::Table {
    let cell = |cell: &Cell| match (cell.number, cell.text.as_str()) {
        (Some(number), _) => export::Cell::number(Some(number)),
        (None, NONE) => export::Cell::text(None),
        (None, text) => export::Cell::text(Some(text)),
    };
    // A space that does not break is for print.
    let head = |head: &str| head.replace('\u{a0}', " ");
    export::Table {
        name: table.name.clone(),
        columns: table.columns.iter().map(|column| head(&column.head)).collect(),
        rows: table.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
    }
}
