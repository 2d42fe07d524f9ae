//! Everything that is read from disk: a programme with its trials, one trial, or the columns of one data file.
//!
//! A descriptor says which of the user's own columns plays which role; the [programme](load_programme) it makes is plain
//! data, valid once built. Every fault of every file is collected: each names its file, sheet, line or row, key or column, the
//! value as typed and what would be right. Where more than a few faults of one kind stand in one column, they are told as one,
//! with its rows. [`sheets`] gives the cells of a file as they stand, for whoever wants to look before anything is
//! declared.
//!
//! # Data files
//!
//! What is certain is read, what is not is refused by name; nothing is guessed. Beside `file = …` a descriptor may declare (and a
//! quick look has a flag for each but the last):
//!
//! | key | says | where it is not declared |
//! |---|---|---|
//! | `sheet` | the sheet of a workbook | the only one that holds anything |
//! | `header_row` | row of the headers, from 1; those above are titles; 0 for a file without headers, whose columns are *column 1*, *column 2* … | 1, or the first row below it that is not blank |
//! | `header_rows` | how many rows the headers take | 1 |
//! | `last_row` | the last row of the data, where notes stand below | none: all rows |
//! | `separator` | `,` `;` `tab` or `\|` | the one that alone splits the rows, or splits them all evenly |
//! | `decimal` | the decimal sign of numbers in text, `.` or `,` | `.` |
//! | `encoding` | `utf-8`, `utf-16`, `latin-1` … | what a byte-order mark says, or UTF-8 |
//! | `missing` | the texts that stand for a missing value | `NA` `N/A` `.` `*` `-`, in any case; an empty cell always |
//! | `date_format` | `day`, `month`, `year` (`yy` for two digits, 2000 to 2099) with the signs between them, as in `day/month/year`, or `spreadsheet-serial` | year-month-day, with or without a time of day |
//!
//! - **Text** (CSV, TSV and whatever has no other ending): lines end in a line feed, a carriage return or both; row numbers are those of
//!   the lines in the file, also past line ends within quotes. Blank rows and blank cells at the end of rows are nothing; a row of any
//!   other length than the header's is refused. Texts longer than 4 GB are refused.
//! - **XLSX**: numbers to the last bit, dates from cells formatted as dates, formulas by the value stored with them; an error such as
//!   `#N/A` is named, not taken for missing. Hidden rows and columns are read like others. In the headers a merged cell counts for all the
//!   columns that it spans; headers of two rows are joined from the top by a space, *NDVI 2 April*. A label that is merged over several
//!   rows of data is refused below the first. Percentages are stored as fractions, and read so.
//! - **Parquet**: numbers, texts, truth values, dates and times; nulls are missing. Row 1 is the header, so the first record is row 2.
//!   Columns of other types are left out.
//! - Header names are compared with runs of spaces and line breaks as one space. Where a named column is not among the headers but
//!   stands on another row, that row is told.
//! - A number is digits with a decimal sign, also where it is stored as text. Decimal commas without a declaration, thousands separators,
//!   units (`72 bu/ac`, `45%`), bounds (`>90`), ranges and dates in the place of numbers are each refused for what they are. So is a date
//!   such as `03/04/2024` while no order of day and month is declared, and what no field gives ([limits](self#what-must-be-there)).
//!
//! # Readings
//!
//! Readings stand in a column of the plots file (or another) for each sensing date, or in a file of their own, a row a reading, keyed
//! by the columns that name a plot. Or they have no plot and were taken in **walking order**: `walk = { order = "serpentine",
//! readings_per_plot = 30 }`. All rows of one day, of those that meet `where`, are one walk, in their order. With `order =
//! "plots-file"` the plots were passed in the order of the plots file; with `"serpentine"` line after line, the lines in the order they
//! first stand in the plots file, the plots of a line in the order of the plots file, and every second line in reverse. The lines are the
//! blocks, or the values of the column named by `along = "…"`. A missing reading keeps its row (with `NA` in it, since a blank row is nothing), so that the others keep their place.
//! A walk that has not as many readings as plots × readings of a plot is refused with both numbers. Without a leaf column the
//! readings of a plot are numbered as they were taken. [`Trial::walks`](crate::trial::Trial::walks) tells the plots passed.
//!
//! A canopy sensor's NDVI may be given as `red` and `near_infrared` reflectance in the place of the reading, both as fractions or both in per cent; a
//! row that has one without the other, or no light at all, is refused. Several passes of one day are numbered: `pass = 1`, `pass = 2` beside
//! their columns, or the column that numbers them; two columns of one day without numbers are refused as a reading twice. `position` names
//! the column that tells where on the plant a leaf sat.
//!
//! `[[plate_check]]` holds readings of a reference plate with its `expected` value and a `tolerance`: `readings` typed in the descriptor, or a
//! `file` with `date`, `time` and `value`.
//!
//! A million readings cost a look-up each and no allocation: text stays in one piece, dates and stages that repeat the cell above are
//! not read again, and every core takes part (`benches/reading.rs`).
//!
//! # What dates and timings must agree on
//!
//! A *sensing day* is a day with a reading of the trial, by any instrument.
//!
//! - An application on a sensing day says which came first: `same_day = "before"` or `"after"` (the sensing).
//! - `before-sensing`: on by at least one sensing day. `decided-by-sensing` and `after-sensing`: not yet on at the first.
//! - With a `decided-by-sensing` application, no `before-sensing` one is later and no `after-sensing` one is earlier; there
//!   is one at most, and `need_from = "topdress-response"` needs it.
//! - The rate of an `after-sensing` application is the same in every plot whose yield enters the response.
//! - A table takes one sensing day of each trial: inside its stages and before the decided topdress. Several are an error
//!   until `sensing_dates` chooses.
//! - Warnings: N younger than `days_to_show_in_canopy` on a sensing day; a date outside the harvest year and the one before.
//!
//! # What must be there
//!
//! Every plot has its key, block, main plot, variety, factor levels and N rates where the descriptor names their columns (0 is a rate,
//! an empty cell is not), and a harvested plot its moisture where there is a moisture column, unless its yield is left out. A yield, a
//! protein, a test weight, a count, a score, a planned rate beside the one that went on or a reading may be missing. A reading
//! belongs to a plot, and there is one for a plot, instrument, day and leaf (or pass).
//!
//! Refused as typing or unit errors, whatever the crop: an application above 1000 kg N/ha, a yield above 200 Mg/ha, a side of the
//! harvested area outside 0.1 to 1000 m, an NDVI outside −1 to 1, a leaf chlorophyll reading above 150; in a quick look, where units
//! are not known, a number above 10⁹.
//!
//! A folder of a programme that holds data files or a nearly named descriptor and no `trial.toml` draws a warning.

#![allow(clippy::result_large_err, reason = "a finding is made once a fault, never once a sound cell")]

mod cell;
mod date_format;
mod descriptor;
mod encoding;
pub mod export;
mod file_reference;
mod folder;
mod gathered;
mod grid;
mod guard;
mod harvest_descriptor;
mod harvested;
mod join;
mod knowledge_descriptor;
mod layout;
mod leaf_positions;
mod nearest;
mod number;
mod opened;
mod parquet;
mod plate_descriptor;
mod plates;
mod plausible;
mod plot_details;
mod plots;
mod prices_descriptor;
mod programme;
mod programme_descriptor;
mod quick_look;
mod reading_forms;
mod readings;
mod readings_descriptor;
mod reflectance;
mod separated;
mod site_year;
mod table;
mod timing;
mod trial_descriptor;
mod values;
mod walk;
mod workbook;

#[cfg(test)]
mod tests;

use std::path::Path;

use crate::finding::{Finding, Place};
use crate::trial::Programme;

pub use date_format::{DateFormat, MONTHS};
pub use encoding::TextEncoding;
pub use layout::{Decimal, DeclaredBy, Layout, MISSING, Separator};
pub use opened::{Format, Sheet, sheets};
pub use quick_look::{ColumnRoles, DataFile, load_columns};

/// What was read, and what the reader should know about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded<T> {
    /// What was read.
    pub value: T,
    /// Findings that do not stand in its way.
    pub warnings: Vec<Finding>,
}

/// What a path leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A folder with a `programme.toml`.
    Programme,
    /// A folder with a `trial.toml`.
    Trial,
    /// A data file.
    Data,
}

/// What `path` leads to: a programme, a trial (also by their descriptors' own paths) or a data file.
///
/// # Errors
/// A path that leads nowhere, or to a folder without a descriptor.
pub fn kind_of(path: &Path) -> Result<Kind, Finding> {
    let place = || Place::file(path.display().to_string());
    if path.is_dir() {
        return if path.join(programme::DESCRIPTOR).is_file() {
            Ok(Kind::Programme)
        } else if path.join(site_year::DESCRIPTOR).is_file() {
            Ok(Kind::Trial)
        } else {
            let text = "the folder holds neither a programme.toml nor a trial.toml";
            Err(Finding::error("cannot-read", place(), text).remedy("name the folder of a programme or of a trial"))
        };
    }
    match path.file_name() {
        _ if !path.exists() => Err(Finding::error("cannot-read", place(), "there is no such file or folder")),
        Some(name) if name == programme::DESCRIPTOR => Ok(Kind::Programme),
        Some(name) if name == site_year::DESCRIPTOR => Ok(Kind::Trial),
        _ => Ok(Kind::Data),
    }
}

/// Reads a programme: `programme.toml` in `folder` and every folder within it that holds a `trial.toml` and is not left out.
///
/// # Errors
/// Every fault found in any of its files, warnings among them.
pub fn load_programme(folder: &Path) -> Result<Loaded<Programme>, Vec<Finding>> {
    programme::read(&without_descriptor(folder, programme::DESCRIPTOR), None)
}

/// Reads the trial in `folder` as a programme of this one trial, with the units, prices and decisions of the
/// `programme.toml` beside it; `leave_out` does not apply.
///
/// # Errors
/// Every fault found in its files and in `programme.toml`, warnings among them.
pub fn load_trial(folder: &Path) -> Result<Loaded<Programme>, Vec<Finding>> {
    let folder = without_descriptor(folder, site_year::DESCRIPTOR);
    let place = || Place::file(folder.display().to_string());
    let full = folder.canonicalize().map_err(|error| {
        vec![Finding::error("cannot-read", place(), format!("the trial's folder can't be found: {error}"))]
    })?;
    let (Some(root), Some(name)) = (full.parent(), full.file_name().and_then(|name| name.to_str())) else {
        let text = "a trial is a folder within a programme";
        return Err(vec![Finding::error("cannot-read", place(), text)]);
    };
    programme::read(root, Some(name))
}

/// The folder of a descriptor, where the path is the descriptor's own.
fn without_descriptor(path: &Path, descriptor: &str) -> std::path::PathBuf {
    let is_descriptor = path.file_name().is_some_and(|name| name == descriptor) && path.is_file();
    match path.parent() {
        Some(parent) if is_descriptor && parent.as_os_str().is_empty() => Path::new(".").to_owned(),
        Some(parent) if is_descriptor => parent.to_owned(),
        _ => path.to_owned(),
    }
}
