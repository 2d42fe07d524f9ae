//! Calibrations for a reader.
//!
//! Points of one site-year are not independent: no R² and no p over them is printed. What is printed is how far the rule is from the
//! need of site-years that it has not seen.

use super::calibrate::{CalibrationAt, Calibrations, Point, RelationOf, TableCalibration};
use super::calibrate_index_text::{critical_index, features, reliability};
use super::calibrate_validation_text::{RETURN_DECIMALS, validation};
use super::interval_words::piece_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{count, fixed, or_dash, plain, price_ratio, significant};
use crate::calibration::shortfall::Power;

/// Decimals of an index, as in a rate table.
pub(crate) const INDEX_DECIMALS: usize = 3;
/// Decimals of needs and of errors: rates are rounded to whole units or coarser.
const NEED_DECIMALS: usize = 0;
const ERROR_DECIMALS: usize = 1;

pub(super) fn text(calibrations: &Calibrations) -> String {
    if calibrations.tables.is_empty() {
        return "The programme wants no rate table: add [[table]] to programme.toml.\n".to_owned();
    }
    let tables = calibrations.tables.iter().map(|table| section(calibrations, table));
    let together = calibrations.features.iter().map(|found| features(found, &calibrations.rate_unit));
    tables.chain(together).collect::<Vec<String>>().join("\n")
}

fn section(calibrations: &Calibrations, table: &TableCalibration) -> String {
    let mut text = format!(
        "Table {}: N need against the {} index, {} to {}\n",
        table.table, table.instrument, table.first_stage, table.last_stage,
    );
    let Some(base) = table.base() else {
        return text + &paragraph("  ", "No price ratio: give [prices] in the programme, or --price-ratio.");
    };
    let unit = calibrations.price_ratio_unit.as_deref();
    let (used, aside) = base.plots();
    text += &paragraph(
        "  ",
        &format!(
            "Price ratio {}; {}{} from {} of {}; {} set aside.",
            quantity(&price_ratio(base.price_ratio), unit),
            count(base.points.len(), "point"),
            index_range(base),
            count(used, "plot"),
            count(table.site_years, "site-year"),
            count(aside, "plot"),
        ),
    );
    text += &validation(calibrations, table);
    text += &relations(calibrations, table, base);
    text += &points(calibrations, base);
    text += &set_aside(base);
    if !base.points.is_empty() {
        text += &format!("\n{}", reliability(&table.reliability));
        text += &format!("\n{}", critical_index(&table.critical_index, &calibrations.rate_unit));
    }
    text
}

/// The indices of the points, which every relation has in common.
fn index_range(base: &CalibrationAt) -> String {
    let ends = base
        .points
        .iter()
        .map(|point| [point.index; 2])
        .reduce(|one, other| [one[0].min(other[0]), one[1].max(other[1])]);
    ends.map_or_else(String::new, |[low, high]| {
        format!(" at indices {} to {}", fixed(low, INDEX_DECIMALS), fixed(high, INDEX_DECIMALS))
    })
}

fn points(calibrations: &Calibrations, base: &CalibrationAt) -> String {
    let unit = Some(calibrations.rate_unit.as_str());
    let mut table = TextTable::new()
        .words("variety")
        .numbers("N on")
        .numbers("plots")
        .numbers("index")
        .numbers(with_unit("N need", unit))
        .words("interval")
        .words("");
    for point in &base.points {
        table.section(&point.trial);
        table.row(vec![
            point.variety.clone().unwrap_or_default(),
            plain(point.n_on),
            point.plots.to_string(),
            fixed(point.index, INDEX_DECIMALS),
            need(point),
            limits(point),
            if point.optimum_status == "not-shown" { "response not shown" } else { "" }.to_owned(),
        ]);
    }
    let rendered = table.render(2);
    let past = if base.points.iter().any(is_past) {
        paragraph(
            "  ",
            "Past: the whole interval comes from beyond the tested rates, where a number would be extrapolated.",
        )
    } else {
        String::new()
    };
    if rendered.is_empty() { rendered } else { format!("\n{rendered}{past}") }
}

/// Whether the whole interval comes from beyond the tested rates.
pub(crate) fn is_past(point: &Point) -> bool {
    point.bound == "at-least" && point.low > Some(point.need)
}

/// The interval of a need; one that lies past the tested rates altogether is extrapolated, and is not printed as numbers.
pub(crate) fn limits(point: &Point) -> String {
    if is_past(point) {
        return format!("past {}", fixed(point.need, NEED_DECIMALS));
    }
    piece_text(point.low, point.high, NEED_DECIMALS)
}

pub(crate) fn need(point: &Point) -> String {
    let number = |value: f64| fixed(value, NEED_DECIMALS);
    match (point.bound, point.optimum_status) {
        // Its interval and the note beside it say what is known.
        (_, "not-shown") => number(point.need),
        ("at-least", _) => format!("at least {}", number(point.known_low.unwrap_or(point.need))),
        ("at-most", _) => format!("at most {}", number(point.known_high.unwrap_or(point.need))),
        _ => number(point.need),
    }
}

/// Each reason once, with its trials and how many plots of each.
fn set_aside(base: &CalibrationAt) -> String {
    let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
    for aside in &base.set_aside {
        let trial = format!("{} ({})", aside.trial, aside.plots);
        match reasons.iter_mut().find(|(reason, _)| *reason == aside.reason) {
            Some((_, trials)) => trials.push(trial),
            None => reasons.push((&aside.reason, vec![trial])),
        }
    }
    if reasons.is_empty() {
        return String::new();
    }
    let each = reasons.iter().map(|(reason, trials)| paragraph("  - ", &format!("{reason}: {}", trials.join(", "))));
    format!("\n  Set aside, with the number of plots:\n{}", each.collect::<String>())
}

fn relations(calibrations: &Calibrations, of: &TableCalibration, base: &CalibrationAt) -> String {
    let mut table = TextTable::new()
        .words("")
        .words("relation")
        .words("N need =")
        .numbers(format!("SD between\nsite-years,\n{}", calibrations.rate_unit))
        .numbers("SD\nwithin")
        .numbers(format!("forgone,\nheld out,\n{}", of.return_unit));
    let mut missing: Vec<(&str, Vec<&str>)> = Vec::new();
    for relation in &base.relations {
        if let Some(reason) = &relation.reason {
            match missing.iter_mut().find(|(known, _)| known == reason) {
                Some((_, kinds)) => kinds.push(relation.kind),
                None => missing.push((reason, vec![relation.kind])),
            }
            continue;
        }
        let forgone = of.tried.iter().find(|tried| tried.relation == relation.kind).and_then(|tried| tried.forgone);
        table.row(vec![
            if Some(relation.kind) == of.relation { "*" } else { "" }.to_owned(),
            relation.kind.to_owned(),
            formula(relation, base.price_ratio),
            or_dash(relation.between, |sd| fixed(sd, ERROR_DECIMALS)),
            relation.within.map_or_else(String::new, |sd| fixed(sd, ERROR_DECIMALS)),
            forgone.map_or_else(String::new, |forgone| fixed(forgone, RETURN_DECIMALS)),
        ]);
    }
    let missing = missing
        .iter()
        .map(|(reason, kinds)| paragraph("  ", &format!("No {} relation: {reason}.", kinds.join(", no "))))
        .collect::<String>();
    let rendered = table.render(2);
    if rendered.is_empty() {
        return if missing.is_empty() { missing } else { format!("\n{missing}") };
    }
    format!("\n{rendered}{}{missing}", relation_notes(of, base))
}

fn relation_notes(of: &TableCalibration, base: &CalibrationAt) -> String {
    let mut notes = String::from("* the relation that the table is made from, ");
    notes += if of.relation_asked.is_some() {
        "as asked for."
    } else {
        "the first in order of preference that is not told from the best one by what its rates forgo on held-out site-years."
    };
    if of.relation_site_years < of.site_years {
        notes += &format!(
            " It rests on the {} with early × topdress trials alone.",
            count(of.relation_site_years, "site-year")
        );
    }
    let named = |name: &str| base.relations.iter().any(|relation| relation.coefficients.contains_key(name));
    if named("need_at_reference") {
        notes += " s = 1 - index.";
    }
    if base.relations.iter().any(is_spline) {
        notes += " The spline's knots and ordinates are in JSON.";
    }
    let held: Vec<&str> = base
        .relations
        .iter()
        .filter(|relation| relation.held_from_rising == Some(true))
        .map(|relation| relation.kind)
        .collect();
    if !held.is_empty() {
        notes += &format!(" Kept from rising with the index: {}.", held.join(", "));
    }
    paragraph("  ", &notes)
}

fn is_spline(relation: &RelationOf) -> bool {
    relation.coefficients.contains_key("ordinate_1")
}

/// The need as a formula of the index, or of s = 1 − index.
pub(crate) fn formula(relation: &RelationOf, price_ratio: f64) -> String {
    let of = |name: &str| relation.coefficients.get(name).copied();
    let term = |name: &str, factor: &str| {
        of(name).map_or_else(String::new, |value| {
            format!(" {} {}{factor}", if value < 0.0 { "-" } else { "+" }, significant(value.abs(), 4))
        })
    };
    let first = |name: &str| of(name).map_or_else(String::new, |value| significant(value, 4));
    if let Some(shape) = of("shape").filter(|shape| *shape != 0.0) {
        let shape = significant(shape, 3);
        return format!(
            "{}{}",
            first("need_at_reference"),
            term("slope_at_reference", &format!("·(e^({shape}·s) - 1)/({shape})"))
        );
    }
    if let Some(loss) = of("loss") {
        let agronomic = match is_spline(relation) {
            true => "spline(s)".to_owned(),
            false => first("need_at_reference") + &term("shortfall", "·s") + &term("shortfall_squared", "·s²"),
        };
        let power = if of("loss_power") == Some(3.0) { Power::Cube } else { Power::Square };
        let less = significant(power.worth_leaving(loss, price_ratio), 3);
        return format!("max(0, {agronomic} - {less})");
    }
    if of("need_at_reference").is_some() {
        return first("need_at_reference") + &term("slope_at_reference", "·s");
    }
    first("intercept") + &term("index", "·index") + &term("index_squared", "·index²")
}
