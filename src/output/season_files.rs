//! The files of a season's folder, before the figures.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::{Map, Value};

use super::across::table as site_years_table;
use super::calibrate::{Calibrations, PerformanceOf};
use super::envelope::{Provenance, Report, json};
use super::findings::Findings;
use super::folder::{OutputFile, PROVENANCE, SEASON, digest};
use super::long::{Long, csv, number, text};
use super::optimum::{Optima, Prices};
use super::season_reports::SeasonReports;
use super::summary::Summary;
use super::workbook::{Sheet, about_season, workbook};
use crate::experiment::FittedGroup;
use crate::files::export::{ExportError, Table};
use crate::rate_table::RateTable;
use crate::season::Season;

/// What made a season: inputs, options, seed and warnings.
#[must_use]
pub fn provenance_of(season: &Season) -> Provenance {
    let options = [
        ("permutations", Value::from(season.options.permutations)),
        ("replicates", season.options.replicates.into()),
        ("price_ratio", season.options.price_ratio.into()),
        ("level", season.programme.decisions.level.into()),
    ];
    Provenance {
        inputs: season.programme.inputs.clone(),
        options: options.into_iter().map(|(name, value)| (name.to_owned(), value)).collect::<Map<_, _>>(),
        seed: Some(season.options.seed),
        warnings: season.warnings.clone(),
    }
}

/// The optima of groups at the season's price ratios; `None` without one.
pub(super) fn optima<'a>(season: &Season, groups: impl IntoIterator<Item = &'a FittedGroup>) -> Option<Optima> {
    let base = season.price_ratio.clone()?;
    let others = season.price_ratios.iter().skip(1).copied().collect();
    let level = season.programme.decisions.level;
    let prices = Prices { base, others, tolerance: season.tolerance(), level, economy: season.economy() };
    let with_quality = season.trials.iter().flat_map(|trial| &trial.with_quality);
    Some(Optima::of(groups, &prices).with_quality(with_quality, &prices))
}

/// Every file of a season's folder but the figures, the report and `provenance.json`, which lists the files.
#[must_use]
pub fn season_files(season: &Season, reports: &SeasonReports) -> Vec<OutputFile> {
    let provenance = provenance_of(season);
    let SeasonReports { yields, anova, curves, optima, sense, calibrations } = reports;
    let mut files = vec![
        OutputFile::text("summary.txt", Summary::of(season, reports).text()),
        OutputFile::text("findings.csv", Findings::of(&season.warnings).csv()),
        OutputFile::text("data/yields.csv", yields.csv()),
        OutputFile::text("data/anova.csv", anova.csv()),
        OutputFile::text("data/curves.json", json(curves, &provenance)),
        OutputFile::text("data/optimum.json", json(optima, &provenance)),
        OutputFile::text("data/site_years.csv", csv(&site_years_table(&optima.across))),
        OutputFile::text("data/index.csv", sense.csv()),
        OutputFile::text("data/need.csv", csv(&calibrations.points())),
        OutputFile::text("data/validation.json", json(calibrations, &provenance)),
    ];
    for result in &season.tables {
        if let Ok(table) = &result.derived.table {
            let name = &result.specification.name;
            files.push(OutputFile::text(format!("tables/{name}.json"), table.write()));
            files.push(OutputFile::text(format!("tables/{name}.csv"), table.to_csv()));
            files.push(OutputFile::text(format!("tables/{name}.schema.json"), RateTable::json_schema()));
            files.push(OutputFile::text(format!("tables/{name}.vectors.csv"), table.conformance_vectors()));
        }
    }
    files
}

/// A season as a workbook: what it is, then `first`, then every long table of the season, a sheet each.
///
/// # Errors
/// A table that is too large for a sheet.
pub(crate) fn season_workbook(
    season: &Season,
    reports: &SeasonReports,
    first: Vec<Sheet>,
) -> Result<Vec<u8>, ExportError> {
    let SeasonReports { yields, anova, curves, optima, sense, calibrations } = reports;
    let units = &season.programme.units;
    let (rates, yields_in) = (units.n_rate, units.yields);
    let mut sheets = first;
    sheets.extend([
        Sheet::new("yields", yields.table(), format!("Yield of every plot in {yields_in}, and what became of it")),
        Sheet::new(
            "anova",
            anova.table(),
            format!(
                "Analyses of variance: a record a row of the table, mean, pair …; yields in {yields_in}, squares in ({yields_in})²"
            ),
        ),
        Sheet::new(
            "curves",
            curves.table(),
            format!("Every curve family of every group; N rates in {rates}, yields in {yields_in}"),
        ),
        Sheet::new("optimum", optima.table(), format!("Economic optimum N rates in {rates}, with their limits")),
        Sheet::new(
            "site-years",
            site_years_table(&optima.across),
            format!("What site-years give together: N rates in {rates}, net return given up in {yields_in}"),
        ),
        Sheet::new("index", sense.table(), "Plot means of readings and their index: reading ÷ N-rich reference"),
        Sheet::new("need", calibrations.points(), format!("Points of the calibrations: index, and N need in {rates}")),
        Sheet::new("validation", validation_table(calibrations), format!("Site-years held out: errors in {rates}")),
    ]);
    sheets.extend(season.tables.iter().filter_map(|result| result.derived.table.as_ref().ok()).map(Sheet::rate_table));
    sheets.push(Sheet::new(
        "findings",
        Findings::of(&season.warnings).table(),
        "What the files and the results give to know",
    ));
    workbook(&about_season(season), &sheets, &Provenance { warnings: Vec::new(), ..provenance_of(season) })
}

/// The held-out site-years of every calibration, a record each, and the sum over all of them.
fn validation_table(calibrations: &Calibrations) -> Table {
    let mut long = Long::new([
        "table",
        "held_out",
        "site_year",
        "rule",
        "relation",
        "rate",
        "rmse",
        "bias",
        "rate_unit",
        "forgone",
        "return_unit",
        "lower_bounds",
        "reason",
    ]);
    for table in &calibrations.tables {
        for validation in &table.validation {
            let mut row = |site_year: &str, relation: Option<&str>, rule: &PerformanceOf, reason: Option<&str>| {
                long.row([
                    table.table.as_str().into(),
                    validation.held_out.into(),
                    site_year.into(),
                    rule.rule.into(),
                    text(relation),
                    number(rule.rate),
                    number(rule.rmse),
                    number(rule.bias),
                    calibrations.rate_unit.as_str().into(),
                    number(rule.forgone),
                    table.return_unit.as_str().into(),
                    rule.lower_bounds.into(),
                    text(reason),
                ]);
            };
            for held_out in &validation.site_years {
                for rule in &held_out.rules {
                    row(&held_out.site_year, held_out.relation, rule, held_out.reason.as_deref());
                }
            }
            for rule in &validation.rules {
                row("every site-year", table.relation, rule, None);
            }
        }
    }
    long.finish()
}

#[derive(Serialize)]
struct Listed<'a> {
    files: Vec<&'a str>,
    /// SHA-256 of each file.
    digests: BTreeMap<&'a str, String>,
}

impl Report for Listed<'_> {
    const COMMAND: &'static str = SEASON;

    fn text(&self) -> String {
        self.files.join("\n")
    }

    fn table(&self) -> Table {
        let mut long = Long::new(["file"]);
        for file in &self.files {
            long.row([(*file).into()]);
        }
        long.finish()
    }
}

/// `provenance.json`: what made the season, and every file of it with its digest. By these a later run knows which files it may replace.
#[must_use]
pub fn season_provenance(season: &Season, files: &[OutputFile]) -> OutputFile {
    let listed = Listed {
        files: files.iter().map(|file| file.path.as_str()).collect(),
        digests: files.iter().map(|file| (file.path.as_str(), digest(&file.bytes))).collect(),
    };
    OutputFile::text(PROVENANCE, json(&listed, &provenance_of(season)))
}
