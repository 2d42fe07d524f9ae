//! The season's report as a document: one content model, written as HTML, as PDF and as tables. Results of others, computed nowhere here.
//!
//! [`season_report`] brings a season's results ([`crate::output::SeasonReports`]) to the units that are asked for, once, and writes the
//! sections from them, a file each. Numbers are text there already, with the number behind each for files; text that users typed is data
//! for whoever writes a format, never markup.

mod analysis;
mod calibration;
mod content;
mod curves;
mod draft;
mod economics;
mod extent;
mod figures;
mod files;
mod findings;
mod html;
mod in_units;
mod material;
mod methods;
mod names;
#[cfg(feature = "pdf")]
mod pdf;
mod provenance;
mod rate_tables;
#[cfg(test)]
mod samples;
mod sensing;
mod site_years;
mod summary;
#[cfg(test)]
mod tests;
mod trials;
mod validation;
mod yields;

pub use content::{Block, Cell, Column, Illustration, Report, Section, Table};
pub use figures::is_in_report;
pub use html::html;
#[cfg(feature = "pdf")]
pub use pdf::{Paper, PdfError, pdf};

use std::collections::BTreeSet;

use crate::figures::{DrawnFigure, Wording};
use crate::output::{ComparisonOf, SeasonReports};
use crate::season::Season;
use crate::trial::InputFile;
use draft::Numerals;
use material::Material;

/// Sections that close a report.
const CLOSING: usize = 2;

/// The report of a season.
///
/// `reports` are what its results were brought into, in the programme's units; `figures` the season's, already in the wording's, of which
/// those of [`is_in_report`] stand in it; `changes` its tables against earlier ones, each with the file of the earlier.
#[must_use]
pub fn season_report(
    season: &Season,
    reports: &SeasonReports,
    figures: &[DrawnFigure],
    changes: &[(ComparisonOf, InputFile)],
    wording: &Wording,
) -> Report {
    let programme = &season.programme;
    let numerals = Numerals::new(wording.options().decimal_mark);
    let material = Material {
        season,
        reports: in_units::in_units(reports, wording, programme),
        wording,
        numerals,
        typed: material::typed_labels(season, numerals),
        changes,
        figures: figures.iter().filter(|figure| is_in_report(&figure.name, season)).collect(),
    };
    let of = |write: fn(&Material<'_>) -> Section| Some(write(&material));
    let sections = [
        of(summary::summary),
        of(trials::trials),
        of(findings::findings),
        findings::weather(&material),
        of(yields::yields),
        of(analysis::analysis),
        of(curves::curves),
        of(economics::economics),
        of(sensing::sensing),
        of(calibration::calibration),
        of(rate_tables::rate_tables),
        of(methods::methods),
        of(provenance::provenance),
    ];
    let mut sections: Vec<Section> = sections.into_iter().flatten().collect();
    if let Some(further) = figures::further(&material, &sections) {
        // Methods and provenance stand last.
        sections.insert(sections.len() - CLOSING, further);
    }
    names::settle(&mut sections);
    Report {
        title: one_line(&programme.title),
        subtitle: subtitle(season),
        made_by: format!("stook {}, seed {}", env!("CARGO_PKG_VERSION"), season.options.seed),
        sections,
    }
}

/// What users typed, on one line.
fn one_line(text: &str) -> String {
    draft::word(text).text
}

/// *Nitrogen trials in wheat, harvests 2023 to 2025*.
fn subtitle(season: &Season) -> String {
    let programme = &season.programme;
    let years: BTreeSet<i16> = programme.trials.iter().map(|trial| trial.harvest_year).collect();
    let harvests = match (years.first(), years.last()) {
        (Some(first), Some(last)) if first < last => format!(", harvests {first} to {last}"),
        (Some(first), _) => format!(", harvest {first}"),
        _ => String::new(),
    };
    one_line(&format!("Nitrogen trials in {}{harvests}", programme.crop.name))
}
