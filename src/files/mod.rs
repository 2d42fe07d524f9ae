//! Everything that is read from disk: a programme with its trials, one trial, or the columns of one data file.
//!
//! A descriptor says which of the user's own columns plays which role; the [programme](load_programme) it makes is plain
//! data, valid once built. Every fault of every file is collected: each names its file, line or row, key or column, the
//! value as typed and what would be right. Files are CSV with commas, in UTF-8; a cell that is empty or says `NA`, `N/A`,
//! `.`, `*` or `-` is missing.
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
//! protein, a test weight, a count, a score, a planned rate beside the one that went on or a reading may be missing. A reading belongs to a plot, and there is one for a plot, instrument, day and leaf.

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
mod nearest;
mod number;
mod opened;
mod parquet;
mod plausible;
mod plot_details;
mod plots;
mod programme;
mod programme_descriptor;
mod quick_look;
mod reading_forms;
mod readings;
mod separated;
mod site_year;
mod table;
mod timing;
mod trial_descriptor;
mod walk;
mod workbook;

#[cfg(test)]
mod tests;

use std::path::Path;

use crate::finding::{Finding, Place};
use crate::trial::Programme;

pub use date_format::DateFormat;
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
