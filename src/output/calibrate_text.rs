//! Calibrations for a reader.
//!
//! Points of one site-year are not independent: no R² and no p over them is printed. What is printed is how far the rule is from the
//! need of site-years that it has not seen.

use super::calibrate::{
    CalibrationAt, Calibrations, Errors, Point, ProvenOf, RelationOf, TableCalibration, ValidationOf,
};
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
        .numbers(with_unit("SD about it", Some(&calibrations.rate_unit)).replace(", ", ",\n"))
        .numbers("points")
        .numbers("bounds");
    let mut missing = String::new();
    for relation in &base.relations {
        if let Some(reason) = &relation.reason {
            missing += &paragraph("  ", &format!("No {} relation: {reason}.", relation.kind));
            continue;
        }
        table.row(vec![
            if relation.kind == of.relation { "*" } else { "" }.to_owned(),
            relation.kind.to_owned(),
            formula(relation),
            or_dash(relation.sigma, |sigma| fixed(sigma, ERROR_DECIMALS)),
            (relation.exact + relation.at_most + relation.at_least).to_string(),
            (relation.at_most + relation.at_least).to_string(),
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
    let mut formula = String::new();
    for (power, coefficient) in relation.coefficients.iter().enumerate() {
        let size = significant(coefficient.abs(), 4);
        let sign = if *coefficient < 0.0 { "-" } else { "+" };
        let factor = match power {
            0 => "",
            1 => "·index",
            _ => "·index²",
        };
        formula += &if power == 0 { significant(*coefficient, 4) } else { format!(" {sign} {size}{factor}") };
    }
    formula
}

fn error_cells(errors: Errors) -> [String; 2] {
    let cell = |value: Option<f64>| or_dash(value, |value| fixed(value, ERROR_DECIMALS));
    [cell(errors.rmse), cell(errors.bias)]
}

/// How many rates bounds prove to be too low or too high: *4 of 6 by 32*.
fn proven_cells(errors: Errors) -> [String; 2] {
    let cell = |found: ProvenOf| match (found.bounds, found.mean_at_least) {
        (0, _) => String::new(),
        (bounds, None) => format!("0 of {bounds}"),
        (bounds, Some(mean)) => format!("{} of {bounds} by {}", found.missed, fixed(mean, NEED_DECIMALS)),
    };
    [cell(errors.shortfalls), cell(errors.excesses)]
}

fn validation(calibrations: &Calibrations, of: &TableCalibration) -> String {
    let Some(own) = of.validation.iter().find(|validation| validation.kind == of.relation) else {
        let text = "No validation: one site-year cannot be held out from itself.";
        return if of.site_years == 1 { format!("\n{}", paragraph("  ", text)) } else { String::new() };
    };
    let unit = Some(calibrations.rate_unit.as_str());
    let head = format!(
        "Each site-year predicted by the others ({} relation): rate minus the need that could be met{}. Bias: above 0 is too much N. A need \
         known only as a bound enters neither: a rate below a need of at least so much is proven short, one above a need of at most so much \
         proven too high, by the mean amount given or more. One rate for all: the mean need of the other site-years, without a reading.",
        own.kind,
        with_unit("", unit),
    );
    let mut text = format!("\n{}\n{}\n", paragraph("  ", &head), held_out(own));
    let mut kinds = error_columns(TextTable::new().words("all held-out\nsite-years"));
    for validation in &of.validation {
        kinds.row(error_row(validation.kind.to_owned(), validation.rule));
    }
    // The same whatever the relation.
    kinds.row(error_row("one rate for all".to_owned(), own.one_rate));
    text += &kinds.render(2);
    text
}

fn error_columns(table: TextTable) -> TextTable {
    table.numbers("RMSE").numbers("bias").numbers("proven\nshort").numbers("proven\ntoo high")
}

fn error_row(name: String, errors: Errors) -> Vec<String> {
    std::iter::once(name).chain(error_cells(errors)).chain(proven_cells(errors)).collect()
}

fn held_out(validation: &ValidationOf) -> String {
    let table = TextTable::new().words("held-out site-year").numbers("points");
    let mut table = error_columns(table).numbers("RMSE of\none rate").numbers("its\nbias").words("");
    let mut missing = String::new();
    for site_year in &validation.site_years {
        let outside = site_year.predictions.iter().filter(|prediction| !prediction.in_domain).count();
        let note = if outside > 0 { format!("{outside} outside") } else { String::new() };
        if let Some(reason) = &site_year.reason {
            missing += &paragraph("  ", &format!("{}: not predicted: {reason}.", site_year.site_year));
            continue;
        }
        let mut cells = vec![site_year.site_year.clone(), site_year.predictions.len().to_string()];
        cells.extend(error_cells(site_year.rule));
        cells.extend(proven_cells(site_year.rule));
        cells.extend(error_cells(site_year.one_rate));
        cells.push(note);
        table.row(cells);
    }
    let outside = validation.site_years.iter().flat_map(|site_year| &site_year.predictions).any(|one| !one.in_domain);
    let note = if outside { paragraph("  ", "Outside: points beyond the others' index range.") } else { String::new() };
    table.render(2) + &note + &missing
}
