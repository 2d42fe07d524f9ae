//! The committed tables: written by the whole simulation, read by the reduced one.

use super::power::Design;
use super::scenario::{Place, Scenario};
use super::tally::{Fitted, Line, Of, Tally};
use super::truth::Truth;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

fn report(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reports/coverage").join(name)
}

const COVERAGE: &str = "coverage.csv";
const POWER: &str = "power.csv";
const BOOTSTRAP: &str = "bootstrap.csv";
const SUMMARY: &str = "summary.csv";

/// A scenario with its lines, counted.
pub type Run = (Scenario, Vec<(Line, Tally)>);

/// Four digits of a share of 2 000 trials are all there are.
fn share(value: f64) -> String {
    format!("{value:.4}")
}

fn optional(value: Option<f64>, decimals: usize) -> String {
    value.map_or(String::new(), |value| format!("{value:.decimals$}"))
}

/// The first columns of a row, which tell it from the others.
fn key(scenario: &Scenario, line: Line) -> [String; 8] {
    [
        scenario.truth.name().to_owned(),
        scenario.place.name().to_owned(),
        scenario.rates.to_string(),
        scenario.blocks.to_string(),
        scenario.cv_percent.to_string(),
        line.fitted.name().to_owned(),
        line.method.name(),
        line.of.name().to_owned(),
    ]
}

fn design_key(design: &Design) -> [String; 4] {
    [design.gain.to_string(), design.cv_percent.to_string(), design.blocks.to_string(), design.rates.to_string()]
}

/// The shares of a committed table by the first columns of its rows.
pub struct Committed(BTreeMap<Vec<String>, f64>);

fn read(name: &str, keys: usize, column: &str) -> Committed {
    let mut reader = csv::Reader::from_path(report(name)).expect("the committed table");
    let at = reader.headers().expect("a header").iter().position(|name| name == column).expect("the column");
    let rows = reader.records().map(|row| {
        let row = row.expect("a row");
        (row.iter().take(keys).map(str::to_owned).collect(), row[at].parse().expect("a share"))
    });
    Committed(rows.collect())
}

pub fn committed() -> Committed {
    read(COVERAGE, 8, "coverage")
}

pub fn committed_power(design: &Design) -> Option<f64> {
    read(POWER, 4, "detected").0.get(design_key(design).as_slice()).copied()
}

impl Committed {
    pub fn coverage(&self, scenario: &Scenario, line: Line) -> Option<f64> {
        self.0.get(key(scenario, line).as_slice()).copied()
    }
}

pub fn write_coverage(runs: &[Run]) {
    write_runs(COVERAGE, runs);
    fs::write(report(SUMMARY), summary(runs)).expect("reports/coverage is there");
}

pub fn write_bootstrap(runs: &[Run]) {
    write_runs(BOOTSTRAP, runs);
}

fn write_runs(name: &str, runs: &[Run]) {
    let mut text = String::from(
        "truth,place,rates,blocks,cv_percent,fitted,method,quantity,regular,true_value,trials,coverage,coverage_of_computed,\
         interval_above_truth,interval_below_truth,median_width,open_below,open_above,open,disjoint,not_computed,not_shown\n",
    );
    for (scenario, lines) in runs {
        let curve = scenario.curve();
        for (line, tally) in lines {
            let truth = match line.of {
                Of::Join => curve.join(),
                Of::Optimum => Some(curve.optimum),
            };
            let of = |count: usize| share(tally.share(count));
            let mut cells = key(scenario, *line).to_vec();
            cells.extend([
                if scenario.is_regular() { "yes" } else { "no" }.to_owned(),
                optional(truth, 3),
                tally.trials.to_string(),
                share(tally.coverage()),
                optional(tally.coverage_of_computed(), 4),
                of(tally.above),
                of(tally.below),
                optional(tally.median_width(), 2),
                of(tally.open_below),
                of(tally.open_above),
                of(tally.open),
                of(tally.disjoint),
                of(tally.not_computed),
                of(tally.not_shown),
            ]);
            // The names of lines hold commas.
            let quoted = cells.iter().map(|cell| if cell.contains(',') { format!("\"{cell}\"") } else { cell.clone() });
            writeln!(text, "{}", quoted.collect::<Vec<_>>().join(",")).expect("text");
        }
    }
    fs::write(report(name), text).expect("reports/coverage is there");
}

pub fn write_power(designs: &[Design], detected: &[usize], trials: u64) {
    let mut text = String::from("gain,cv_percent,blocks,rates,trials,detected\n");
    for (design, count) in designs.iter().zip(detected) {
        let detected = share(*count as f64 / trials as f64);
        writeln!(text, "{},{trials},{detected}", design_key(design).join(",")).expect("text");
    }
    fs::write(report(POWER), text).expect("reports/coverage is there");
}

/// Means and ranges over rates, blocks and CVs, apart for regular scenarios and the others.
fn summary(runs: &[Run]) -> String {
    let mut text = String::from(
        "truth,place,regular,fitted,method,quantity,scenarios,mean_coverage,lowest_coverage,highest_coverage,\
         mean_coverage_of_computed,median_width,open_at_an_end,not_computed\n",
    );
    for (truth, place) in Truth::ALL.into_iter().flat_map(|truth| Place::ALL.map(|place| (truth, place))) {
        for regular in [true, false] {
            let here = |run: &&Run| run.0.truth == truth && run.0.place == place && run.0.is_regular() == regular;
            for line in super::lines(truth).into_iter().filter(|line| line.fitted != Fitted::ChosenDetected) {
                let of_line =
                    |run: &Run| run.1.iter().find(|(other, _)| *other == line).map(|(_, tally)| tally.clone());
                let tallies: Vec<Tally> = runs.iter().filter(here).filter_map(of_line).collect();
                if tallies.is_empty() {
                    continue;
                }
                let shares: Vec<f64> = tallies.iter().map(Tally::coverage).collect();
                let scenarios = tallies.len();
                let lowest = shares.iter().copied().fold(1.0, f64::min);
                let highest = shares.iter().copied().fold(0.0, f64::max);
                let all = tallies.into_iter().fold(Tally::default(), Tally::merge);
                let cells = [
                    truth.name().to_owned(),
                    place.name().to_owned(),
                    if regular { "yes" } else { "no" }.to_owned(),
                    line.fitted.name().to_owned(),
                    line.method.name(),
                    line.of.name().to_owned(),
                    scenarios.to_string(),
                    share(all.coverage()),
                    share(lowest),
                    share(highest),
                    optional(all.coverage_of_computed(), 4),
                    optional(all.median_width(), 1),
                    share(all.share(all.open_below + all.open_above + all.open)),
                    share(all.share(all.not_computed)),
                ];
                writeln!(text, "{}", cells.join(",")).expect("text");
            }
        }
    }
    text
}

#[test]
fn every_line_of_a_scenario_has_a_key_of_its_own() {
    let mut keys: Vec<[String; 8]> = Vec::new();
    for scenario in Scenario::all() {
        keys.extend(super::lines(scenario.truth).into_iter().map(|line| key(&scenario, line)));
    }
    let count = keys.len();
    keys.sort();
    keys.dedup();
    assert_eq!(keys.len(), count);
    assert!(keys.iter().any(|key| key[6] == "profile" && key[7] == "EONR"));
}
