//! Units that headers name or plausible values suggest.

use super::judge::short;
use super::role::Confidence;
use super::role::Role;
use super::settle::Settled;
use super::sheet::Column;
use super::words::{any, mass_unit, rate_unit, yield_unit};

/// A unit with how sure it is, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct UnitGuess {
    /// `None` where nothing suggests one.
    pub(super) unit: Option<&'static str>,
    pub(super) confidence: Confidence,
    pub(super) why: String,
}

impl UnitGuess {
    fn named(unit: &'static str) -> Self {
        Self { unit: Some(unit), confidence: Confidence::Sure, why: "the header names it".to_owned() }
    }

    fn likely(unit: &'static str, why: String) -> Self {
        Self { unit: Some(unit), confidence: Confidence::Likely, why }
    }

    fn unsure(unit: Option<&'static str>, why: String) -> Self {
        Self { unit, confidence: Confidence::Unsure, why }
    }
}

/// Highest N rate that is taken for one without a look at its unit.
const HIGHEST_RATE: f64 = 700.0;
/// The lowest top rate of a trial, in either unit.
const LOWEST_TOP_RATE: f64 = 20.0;

/// The unit of N rates.
pub(super) fn of_rates(column: &Column, plots: &Settled) -> UnitGuess {
    if let Some(unit) = rate_unit(&column.words) {
        return UnitGuess::named(unit);
    }
    let Some((_, highest)) = column.range() else {
        return UnitGuess::unsure(None, "\"lb/ac\" or \"kg/ha\"".to_owned());
    };
    if !(LOWEST_TOP_RATE..=HIGHEST_RATE).contains(&highest) {
        let why =
            format!("\"lb/ac\" or \"kg/ha\"; rates up to {highest} look like neither: bring them to one of the two");
        return UnitGuess::unsure(None, why);
    }
    if any(&column.words, &["lb", "lbs", "pounds"]) {
        return UnitGuess::likely("lb/ac", "the header says pounds".to_owned());
    }
    if any(&column.words, &["kg"]) {
        return UnitGuess::likely("kg/ha", "the header says kilograms".to_owned());
    }
    let others = plots.sheet.columns.iter().filter(|other| other.name != column.name);
    if let Some(unit) = others.clone().find_map(|other| rate_unit(&other.words)) {
        return UnitGuess::likely(unit, format!("another column is in {unit}"));
    }
    let yields = plots.with_role(Role::Yield).find_map(|(other, _)| yield_unit(&other.words));
    match yields {
        Some("bu/ac" | "lb/ac" | "short ton/ac") => UnitGuess::likely("lb/ac", "yields are per acre".to_owned()),
        Some("kg/ha" | "Mg/ha") => UnitGuess::likely("kg/ha", "yields are per hectare".to_owned()),
        _ => UnitGuess::unsure(None, "\"lb/ac\" or \"kg/ha\"; the header does not say".to_owned()),
    }
}

/// The unit of yields.
pub(super) fn of_yields(column: &Column, plots: &Settled) -> UnitGuess {
    if let Some(unit) = yield_unit(&column.words) {
        return UnitGuess::named(unit);
    }
    if let Some(what) = super::words::foreign_yield_unit(&column.words) {
        return UnitGuess::unsure(Some("kg/ha"), format!("the header says {what}"));
    }
    if any(&column.words, &["bu", "bushel", "bushels"]) {
        return UnitGuess::likely("bu/ac", "the header says bushels".to_owned());
    }
    let (lowest, highest) = column.range().unwrap_or_default();
    let per_acre = plots.sheet.columns.iter().find_map(|other| rate_unit(&other.words));
    let acre_word = any(&column.words, &["acre"]);
    let range = format!("values {} to {}", short(lowest), short(highest));
    match (highest, per_acre) {
        (highest, _) if highest <= 0.0 => UnitGuess::unsure(None, format!("{range} are no yields")),
        (highest, Some("kg/ha")) if highest < 30.0 => UnitGuess::likely("Mg/ha", format!("{range}, and N is in kg/ha")),
        (highest, Some("kg/ha")) if highest >= 500.0 => {
            UnitGuess::likely("kg/ha", format!("{range}, and N is in kg/ha"))
        }
        (highest, Some("lb/ac")) if (20.0..400.0).contains(&highest) => {
            UnitGuess::likely("bu/ac", format!("{range}, and N is in lb/ac"))
        }
        (highest, Some("lb/ac")) if highest >= 500.0 => {
            UnitGuess::likely("lb/ac", format!("{range}, and N is in lb/ac"))
        }
        (highest, _) if acre_word && (20.0..400.0).contains(&highest) => {
            UnitGuess::likely("bu/ac", format!("{range} an acre"))
        }
        (highest, _) if highest < 20.0 => {
            UnitGuess::unsure(Some("Mg/ha"), format!("{range} would fit \"Mg/ha\"; also possible: \"short ton/ac\""))
        }
        (highest, _) if highest < 400.0 => {
            UnitGuess::unsure(Some("bu/ac"), format!("{range} would fit \"bu/ac\"; the header does not say"))
        }
        _ => UnitGuess::unsure(
            Some("kg/ha"),
            format!("{range} would fit \"kg/ha\" or \"lb/ac\"; the header does not say"),
        ),
    }
}

/// The unit of harvested weights.
pub(super) fn of_weights(column: &Column) -> UnitGuess {
    match mass_unit(&column.words) {
        Some(unit) => UnitGuess::named(unit),
        None => UnitGuess::unsure(None, "\"lb\", \"kg\" or \"g\"; the header does not say".to_owned()),
    }
}

/// The unit of test weights.
pub(super) fn of_test_weights(column: &Column) -> UnitGuess {
    if any(&column.words, &["hl", "hectolitre", "hectoliter", "hlw"]) {
        return UnitGuess::named("kg/hL");
    }
    if any(&column.words, &["bu", "lb", "lbs"]) {
        return UnitGuess::named("lb/bu");
    }
    match column.range() {
        Some((lowest, highest)) if highest <= 68.0 && lowest >= 40.0 => {
            UnitGuess::likely("lb/bu", format!("values {} to {}", short(lowest), short(highest)))
        }
        Some((lowest, highest)) if lowest >= 66.0 => {
            UnitGuess::likely("kg/hL", format!("values {} to {}", short(lowest), short(highest)))
        }
        _ => UnitGuess::unsure(None, "\"lb/bu\" or \"kg/hL\"; the header does not say".to_owned()),
    }
}

/// N in a product, per cent, where a column holds a product rather than N.
pub(super) fn n_percent(column: &Column) -> Option<(f64, Confidence, String)> {
    let urea = any(&column.words, &["urea", "harnstoff"]);
    if !urea {
        return any(&column.words, &["uan"]).then(|| {
            (
                28.0,
                Confidence::Unsure,
                "the header says UAN: its N content if the numbers are of the product, else remove it".to_owned(),
            )
        });
    }
    // Common practice: urea is 46 % N.
    const UREA: f64 = 46.0;
    let levels: Vec<f64> = column.numeric_levels().into_iter().filter(|rate| *rate > 0.0).collect();
    let round = |rate: f64| (rate / 5.0 - (rate / 5.0).round()).abs() < 0.12;
    let as_n = levels.iter().filter(|rate| round(**rate)).count();
    let as_product = levels.iter().filter(|rate| round(**rate * UREA / 100.0)).count();
    let why = "the header says urea (46 % N); if the numbers are pounds or kilograms of N already, remove n_percent";
    let confidence = if as_product > as_n { Confidence::Likely } else { Confidence::Unsure };
    Some((UREA, confidence, why.to_owned()))
}
