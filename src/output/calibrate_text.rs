//! Calibrations for a reader.
//!
//! Points of one site-year are not independent: no R² and no p over them is printed. What is printed is how far the rule is from the
//! need of site-years that it has not seen.

use super::calibrate::{CalibrationAt, Calibrations, Point, RelationOf, TableCalibration};
use super::interval_words::piece_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{count, fixed, or_dash, plain, price_ratio, significant};

/// Decimals of an index, as in a rate table.
const INDEX_DECIMALS: usize = 3;
/// Decimals of needs and of errors: rates are rounded to whole units or coarser.
const NEED_DECIMALS: usize = 0;
const ERROR_DECIMALS: usize = 1;

pub(super) fn text(calibrations: &Calibrations) -> String {
    if calibrations.tables.is_empty() {
        return "The programme wants no rate table: add [[table]] to programme.toml.\n".to_owned();
    }
    let tables: Vec<String> = calibrations.tables.iter().map(|table| section(calibrations, table)).collect();
    tables.join("\n")
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
    text += &points(calibrations, base);
    text += &set_aside(base);
    text += &relations(calibrations, table, base);
    text += &validation(calibrations, table);
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
fn is_past(point: &Point) -> bool {
    point.bound == "at-least" && point.low > Some(point.need)
}

/// The interval of a need; one that lies past the tested rates altogether is extrapolated, and is not printed as numbers.
fn limits(point: &Point) -> String {
    if is_past(point) {
        return format!("past {}", fixed(point.need, NEED_DECIMALS));
    }
    piece_text(point.low, point.high, NEED_DECIMALS)
}

fn need(point: &Point) -> String {
    let need = fixed(point.need, NEED_DECIMALS);
    match point.bound {
        "at-least" => format!("at least {need}"),
        "at-most" => format!("at most {need}"),
        _ => need,
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
        .numbers(with_unit("SD between\nsite-years", Some(&calibrations.rate_unit)))
        .numbers("within");
    let mut missing = String::new();
    for relation in &base.relations {
        if let Some(reason) = &relation.reason {
            missing += &paragraph("  ", &format!("No {} relation: {reason}.", relation.kind));
            continue;
        }
        table.row(vec![
            if Some(relation.kind) == of.relation { "*" } else { "" }.to_owned(),
            relation.kind.to_owned(),
            formula(relation),
            or_dash(relation.between, |sd| fixed(sd, ERROR_DECIMALS)),
            or_dash(relation.within, |sd| fixed(sd, ERROR_DECIMALS)),
        ]);
    }
    let rendered = table.render(2);
    let note = if rendered.is_empty() {
        String::new()
    } else {
        paragraph("  ", "* the relation that the table is made from.")
    };
    format!("\n{rendered}{note}{missing}")
}

fn formula(relation: &RelationOf) -> String {
    let named: Vec<String> =
        relation.coefficients.iter().map(|(name, value)| format!("{name} {}", significant(*value, 4))).collect();
    named.join(", ")
}

fn validation(calibrations: &Calibrations, of: &TableCalibration) -> String {
    let mut text = String::new();
    for validation in &of.validation {
        let mut table = TextTable::new()
            .words(format!("{} held out", validation.held_out))
            .numbers(with_unit("rate", Some(&calibrations.rate_unit)))
            .numbers("RMSE")
            .numbers("bias")
            .numbers(with_unit("forgone", Some(&of.return_unit)));
        for rule in &validation.rules {
            table.row(vec![
                rule.rule.to_owned(),
                fixed(rule.rate, ERROR_DECIMALS),
                or_dash(rule.rmse, |value| fixed(value, ERROR_DECIMALS)),
                or_dash(rule.bias, |value| fixed(value, ERROR_DECIMALS)),
                fixed(rule.forgone, 2),
            ]);
        }
        text += &format!("\n{}", table.render(2));
    }
    if let Some(verdict) = &of.verdict {
        text += &paragraph(
            "  ",
            &format!(
                "The sensor {}: gain {:?} to {:?}, p {:.3}.",
                verdict.verdict, verdict.gain.low, verdict.gain.high, verdict.p_value
            ),
        );
    }
    text
}
