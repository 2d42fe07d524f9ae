//! A season on one screen.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::anova_summary::{NTests, analysis_of_variance, n_tests};
use super::calibrate_validation_text::{forgone, rule_words, verdict_words};
use super::envelope::{Report, made_by};
use super::group::{factors, level_fields, level_text};
use super::interval_words::interval_head;
use super::layout::{TextTable, WIDTH, paragraph, quantity, with_unit};
use super::long::{Long, number, text};
use super::numbers::{NONE, count, fixed, price_ratio};
use super::optimum::{OptimumGroup, status_name};
use super::optimum_text::{chosen_text, limits, rate_text};
use super::season_files::provenance_of;
use super::season_reports::SeasonReports;
use super::table::{rate, rows_with_a_rate};
use crate::calibration::Rule;
use crate::files::export::Table;
use crate::response::OptimumStatus;
use crate::season::{Season, TableResult};
use crate::trial::NeedFrom;

/// Lines of a screen.
const LINES: usize = 40;
/// Lines that list trials, at most; the others are counted.
const TRIAL_LINES: usize = 14;
/// Kinds of warnings that are named, the most frequent first; the others are counted.
const WARNINGS_NAMED: usize = 8;
/// What tells a group from the others in every programme.
const FACTORS: [&str; 3] = ["trial", "variety", "early_n"];
/// Columns that the optima of one trial may take.
const OPTIMUM_WIDTH: usize = 45;

/// The season in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Summary {
    /// Title of the programme.
    pub title: String,
    /// Crop.
    pub crop: String,
    /// Unit of N rates.
    pub rate_unit: String,
    /// Price ratio of every optimum.
    pub price_ratio: Option<f64>,
    /// Its unit.
    pub price_ratio_unit: Option<String>,
    /// Trial folders left out, with the reason.
    pub left_out: Vec<LeftOutTrial>,
    /// One entry a trial.
    pub trials: Vec<TrialSummary>,
    /// The F tests of N, one entry an analysis of variance.
    pub anova: Vec<NTests>,
    /// One entry a table wanted.
    pub tables: Vec<TableSummary>,
    #[serde(skip)]
    foot: String,
    #[serde(skip)]
    warnings: Vec<(&'static str, usize)>,
}

/// A trial that does not take part.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LeftOutTrial {
    /// Trial folder.
    pub trial: String,
    /// Why.
    pub reason: String,
}

/// One trial in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TrialSummary {
    /// Trial folder.
    pub trial: String,
    /// Plots.
    pub plots: usize,
    /// Plots whose yield is used.
    pub used: usize,
    /// Which N the optimum is of: `all` that is decided by or before the sensing, or the `topdress` within each early level.
    pub varies: &'static str,
    /// The optimum of each group.
    pub groups: Vec<OptimumGroup>,
}

/// One table in short.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TableSummary {
    /// Name.
    pub table: String,
    /// Kind of instrument.
    pub instrument: &'static str,
    /// Site-years it is calibrated on.
    pub site_years: usize,
    /// Calibration points.
    pub points: usize,
    /// Its rows at the base price ratio; empty where there is no table.
    pub rows: Vec<RowSummary>,
    /// Why there is no table.
    pub reason: Option<String>,
    /// How the rules did on held-out site-years; empty with fewer than two.
    pub held_out: Vec<super::calibrate::PerformanceOf>,
    /// What the held-out site-years say of the sensor.
    pub verdict: Option<super::calibrate::VerdictOf>,
    /// Unit of forgone returns.
    pub return_unit: String,
    #[serde(skip)]
    head: String,
    #[serde(skip)]
    rates: Vec<[String; 2]>,
}

/// One row of a table.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RowSummary {
    /// Lowest index.
    pub index_from: f64,
    /// Index at which the row ends.
    pub index_below: f64,
    /// N rate.
    pub rate: Option<f64>,
}

impl Summary {
    /// A season in short.
    #[must_use]
    pub fn of(season: &Season, reports: &SeasonReports) -> Self {
        let programme = &season.programme;
        let mut warnings: BTreeMap<&'static str, usize> = BTreeMap::new();
        for warning in &season.warnings {
            *warnings.entry(warning.code).or_default() += 1;
        }
        let mut warnings: Vec<(&'static str, usize)> = warnings.into_iter().collect();
        warnings.sort_by_key(|(_, number)| std::cmp::Reverse(*number));
        let trials = programme.trials.iter().zip(&season.trials);
        let tables = season.tables.iter().zip(&reports.calibrations.tables);
        let groups = |folder: &str| {
            let of_trial =
                |group: &&OptimumGroup| group.group.get("trial").and_then(|trial| trial.as_str()) == Some(folder);
            reports.optima.groups.iter().filter(of_trial).cloned().collect()
        };
        Self {
            title: programme.title.clone(),
            crop: programme.crop.name.clone(),
            rate_unit: programme.units.n_rate.to_string(),
            price_ratio: season.price_ratio.as_ref().map(|ratio| ratio.value),
            price_ratio_unit: season.price_ratio.as_ref().and_then(|ratio| ratio.unit.clone()),
            left_out: programme
                .left_out
                .iter()
                .map(|left_out| LeftOutTrial { trial: left_out.folder.clone(), reason: left_out.reason.clone() })
                .collect(),
            trials: trials
                .map(|(trial, result)| TrialSummary {
                    trial: trial.folder.clone(),
                    plots: result.harvest.yields.len(),
                    used: result.harvest.yields.iter().filter(|found| found.used().is_some()).count(),
                    varies: match trial.need_from {
                        NeedFrom::DifferenceFromOptimum => "all",
                        NeedFrom::TopdressResponse => "topdress",
                    },
                    groups: groups(&trial.folder),
                })
                .collect(),
            anova: n_tests(&reports.anova),
            tables: tables.map(|(result, calibration)| TableSummary::of(result, calibration)).collect(),
            foot: made_by(&provenance_of(season)),
            warnings,
        }
    }
}

impl TableSummary {
    fn of(result: &TableResult, calibration: &super::calibrate::TableCalibration) -> Self {
        let own = calibration.validation.iter().find(|validation| validation.held_out == "site-year");
        let document = result.derived.table.as_ref().ok().map(|table| table.document());
        let base = document.and_then(|document| document.prices.iter().position(|price| price.base)).unwrap_or(0);
        let rows = document.map_or(&[][..], |document| &document.rows);
        let thousandths = |index: u32| f64::from(index) / 1000.0;
        Self {
            table: calibration.table.clone(),
            instrument: calibration.instrument,
            site_years: calibration.site_years,
            points: calibration.base().map_or(0, |base| base.points.len()),
            rows: rows
                .iter()
                .map(|row| RowSummary {
                    index_from: thousandths(row.index_from),
                    index_below: thousandths(row.index_below),
                    rate: row.rates.get(base).and_then(|rate| rate.rate),
                })
                .collect(),
            reason: result.derived.table.as_ref().err().map(ToString::to_string),
            held_out: own.map_or_else(Vec::new, |own| own.rules.clone()),
            verdict: calibration.verdict.clone(),
            return_unit: calibration.return_unit.clone(),
            head: result.derived.table.as_ref().map_or_else(|_| String::new(), rows_with_a_rate),
            rates: rows
                .iter()
                .map(|row| {
                    [
                        format!("{:.2}–{:.2}", thousandths(row.index_from), thousandths(row.index_below)),
                        rate(row.rates.get(base)),
                    ]
                })
                .collect(),
        }
    }
}

impl Report for Summary {
    const COMMAND: &'static str = super::folder::SEASON;

    /// At most 40 lines of 100 columns.
    fn text(&self) -> String {
        let mut text = self.head();
        text += &format!("\n{}", self.trials());
        text += &analysis_of_variance(&self.anova);
        for table in &self.tables {
            text += &format!("\n{}", self.table(table));
        }
        let end = self.end();
        let room = LINES.saturating_sub(end.lines().count());
        let kept: Vec<&str> = text.lines().take(room).collect();
        let text = if text.lines().count() > room {
            let cut = kept.split_last().map_or(&[][..], |(_, kept)| kept).join("\n");
            format!("{cut}\n  … the rest is in tables/ and data/")
        } else {
            kept.join("\n")
        };
        format!("{text}\n{end}")
    }

    /// One record for each group of each trial.
    fn table(&self) -> Table {
        let told = factors(self.trials.iter().flat_map(|trial| &trial.groups).map(|group| &group.group));
        let others = told.into_iter().filter(|factor| !FACTORS.contains(&factor.as_str()));
        let columns: Vec<String> = FACTORS.map(str::to_owned).into_iter().chain(others).collect();
        let mut long = Long::new(columns.iter().map(String::as_str).chain([
            "plots",
            "used",
            "response",
            "family",
            "price_ratio",
            "price_ratio_unit",
            "rate",
            "low",
            "high",
            "rate_unit",
            "status",
        ]));
        for trial in &self.trials {
            for group in &trial.groups {
                let levels = level_fields(&group.group, &columns);
                let results = [
                    trial.plots.into(),
                    trial.used.into(),
                    text(group.response),
                    text(group.optimum.family),
                    number(group.price_ratio),
                    text(group.price_ratio_unit.as_deref()),
                    number(group.optimum.rate),
                    number(group.optimum.low),
                    number(group.optimum.high),
                    self.rate_unit.as_str().into(),
                    status_name(group.optimum.status).into(),
                ];
                long.row(levels.into_iter().chain(results));
            }
        }
        long.finish()
    }
}

/// Decimals of rates on one screen.
const RATE_DECIMALS: usize = 0;

impl Summary {
    fn head(&self) -> String {
        let left_out = match self.left_out.len() {
            0 => String::new(),
            left_out => format!(", {left_out} left out"),
        };
        let prices = self.price_ratio.map_or_else(
            || "no price ratio, so no optimum and no table".to_owned(),
            |ratio| format!("price ratio {}", quantity(&price_ratio(ratio), self.price_ratio_unit.as_deref())),
        );
        clipped(&format!("{} ({}): {}{left_out}; {prices}", self.title, self.crop, count(self.trials.len(), "trial")))
            + "\n"
    }

    fn trials(&self) -> String {
        let level = self.trials.iter().flat_map(|trial| &trial.groups).map(|group| group.optimum.level).next();
        let mut table =
            TextTable::new().words("trial").numbers("plots used").words("response").words("N").words(format!(
                "optimum, {}{}",
                self.rate_unit,
                level.map_or_else(String::new, |level| format!(" ({})", interval_head(Some(level))))
            ));
        for trial in self.trials.iter().take(TRIAL_LINES) {
            let shown = trial.groups.iter().filter(|group| group.response == Some("detected")).count();
            let response = match (shown, trial.groups.len()) {
                _ if trial.used == 0 => "no yields".to_owned(),
                (_, 0) => String::new(),
                (0, _) if trial.groups.iter().all(|group| group.response.is_none()) => "not tested".to_owned(),
                (0, _) => "not shown".to_owned(),
                (shown, all) if shown == all => "shown".to_owned(),
                (shown, all) => format!("shown in {shown} of {all}"),
            };
            table.row(vec![
                trial.trial.clone(),
                format!("{} of {}", trial.used, trial.plots),
                response,
                trial.varies.to_owned(),
                optimum(trial),
            ]);
        }
        let more = self.trials.len().saturating_sub(TRIAL_LINES);
        let more = if more > 0 {
            format!("  … and {} more: data/optimum.json\n", count(more, "trial"))
        } else {
            String::new()
        };
        table.render(2).lines().map(|line| clipped(line) + "\n").collect::<String>() + &more
    }

    fn table(&self, table: &TableSummary) -> String {
        let from = format!("{} from {}", count(table.points, "point"), count(table.site_years, "site-year"));
        if let Some(reason) = &table.reason {
            return paragraph("", &format!("Table {} ({}): none. {reason}.", table.table, table.instrument));
        }
        let mut text = format!("Table {} ({}, {from}; {} with a rate)\n", table.table, table.instrument, table.head);
        text += &row_lines(&table.rates, &self.rate_unit);
        text + &validation(table, &self.rate_unit)
    }

    fn end(&self) -> String {
        let mut end = String::from("\n");
        if !self.warnings.is_empty() {
            let named = self.warnings.iter().take(WARNINGS_NAMED);
            let mut each: Vec<String> = named.map(|(code, number)| format!("{number} {code}")).collect();
            let others: usize = self.warnings.iter().skip(WARNINGS_NAMED).map(|(_, number)| number).sum();
            if others > 0 {
                each.push(format!("{others} of other kinds"));
            }
            end += &paragraph("Warnings: ", &format!("{} (findings.csv)", each.join(", ")));
        }
        end += &paragraph(
            "Cautions: ",
            "a table holds for its crop, varieties, stages, instrument and index range only; a reading also falls for other reasons \
             than N; local nutrient-management law and a certified or licensed adviser come first.",
        );
        end + self.foot.trim_start()
    }
}

/// The optimum of each group of a trial, or their range where they would not fit.
fn optimum(trial: &TrialSummary) -> String {
    let several = trial.groups.len() > 1;
    let each = trial.groups.iter().map(|group| {
        let levels = group.group.iter().filter(|(factor, _)| several && *factor != "trial").map(|(_, level)| level);
        let name: String = levels.map(|level| level_text(level) + " ").collect();
        let beyond = group.optimum.status == OptimumStatus::AtHighestTestedRate;
        let limits = if beyond { String::new() } else { limits(&group.optimum, RATE_DECIMALS) };
        let limits = if limits.is_empty() { limits } else { format!(" ({limits})") };
        format!("{name}{}{limits}", chosen_text(group.response, &group.optimum, RATE_DECIMALS))
    });
    let each = each.collect::<Vec<_>>().join("; ");
    if each.chars().count() <= OPTIMUM_WIDTH {
        return each;
    }
    let detected = trial.groups.iter().filter(|group| group.optimum.status != OptimumStatus::NotShown);
    let mut rates: Vec<(f64, String)> =
        detected.filter_map(|group| Some((group.optimum.rate?, rate_text(&group.optimum, RATE_DECIMALS)))).collect();
    rates.sort_by(|one, other| one.0.total_cmp(&other.0));
    match (rates.first(), rates.last()) {
        (Some((low, lowest)), Some((high, highest))) if low < high => format!("{lowest} to {highest}"),
        (Some((_, lowest)), _) => lowest.clone(),
        _ if trial.groups.iter().all(|group| group.optimum.rate.is_none()) => "none".to_owned(),
        _ => "not shown".to_owned(),
    }
}

/// Index ranges over their rates, as many a line as the width holds.
fn row_lines(rates: &[[String; 2]], unit: &str) -> String {
    let names = ["index".to_owned(), with_unit("N rate", Some(unit))];
    let name_width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0);
    let cell_width = rates.iter().flatten().map(|cell| cell.chars().count()).max().unwrap_or(0) + 2;
    let a_line = (WIDTH.saturating_sub(name_width + 2) / cell_width).max(1);
    let mut text = String::new();
    for chunk in rates.chunks(a_line) {
        for (name, which) in names.iter().zip([0, 1]) {
            let cells = chunk.iter().filter_map(|cells| cells.get(which));
            let line: String = cells.map(|cell| format!("{cell:>cell_width$}")).collect();
            text += &format!("  {name:<name_width$}{line}\n");
        }
    }
    text
}

/// What held-out site-years say of the sensor, in a line or two.
fn validation(table: &TableSummary, unit: &str) -> String {
    if table.site_years < 2 {
        return "  no validation: one site-year cannot be held out from itself\n".to_owned();
    }
    let rule = |name: &str| table.held_out.iter().find(|performance| performance.rule == name);
    let (Some(sensor), Some(verdict)) = (rule(Rule::Sensor.name()), &table.verdict) else {
        return "  no validation: without the site-year that is held out the others give no relation\n".to_owned();
    };
    let against = rule(verdict.against).map_or_else(|| NONE.to_owned(), forgone);
    let miss = sensor.rmse.map_or_else(String::new, |rmse| {
        format!("; its rates miss the need by {} (RMSE)", quantity(&fixed(rmse, RATE_DECIMALS), Some(unit)))
    });
    let text = format!(
        "{}: on {} not seen it forgoes {}, the {} {against}{miss}",
        verdict_words(verdict.verdict),
        count(verdict.site_years, "site-year"),
        quantity(&forgone(sensor), Some(&table.return_unit)),
        rule_words(verdict.against),
    );
    paragraph("  ", &text)
}

/// A line cut to the text width.
fn clipped(line: &str) -> String {
    if line.chars().count() <= WIDTH {
        return line.to_owned();
    }
    line.chars().take(WIDTH - 1).chain(['…']).collect()
}
