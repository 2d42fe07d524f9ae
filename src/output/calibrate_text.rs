//! Calibrations for a reader.
//!
//! Points of one site-year are not independent: no R² and no p over them is printed. What is printed is how far the rule is from the
//! need of site-years that it has not seen.

use super::calibrate::{CalibrationAt, Calibrations, Errors, Point, RelationOf, TableCalibration, ValidationOf};
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
            "Price ratio {}; {} from {} of {}; {} are set aside.",
            quantity(&price_ratio(base.price_ratio), unit),
            count(base.points.len(), "point"),
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

fn points(calibrations: &Calibrations, base: &CalibrationAt) -> String {
    let unit = Some(calibrations.rate_unit.as_str());
    let mut table = TextTable::new()
        .words("trial")
        .words("variety")
        .numbers("N on")
        .numbers("plots")
        .numbers("index")
        .numbers(with_unit("N need", unit))
        .words("interval")
        .words("");
    for point in &base.points {
        table.row(vec![
            point.trial.clone(),
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
    if rendered.is_empty() { rendered } else { format!("\n{rendered}") }
}

/// The interval of a need; one that lies past the tested rates altogether is extrapolated, and is not printed as numbers.
fn limits(point: &Point) -> String {
    if point.bound == "at-least" && point.low > Some(point.need) {
        return "past the tested rates".to_owned();
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

fn set_aside(base: &CalibrationAt) -> String {
    let mut table = TextTable::new().words("set aside").numbers("plots").words("reason");
    for aside in &base.set_aside {
        table.row(vec![aside.trial.clone(), aside.plots.to_string(), aside.reason.clone()]);
    }
    let rendered = table.render(2);
    if rendered.is_empty() { rendered } else { format!("\n{rendered}") }
}

fn relations(calibrations: &Calibrations, of: &TableCalibration, base: &CalibrationAt) -> String {
    let mut table = TextTable::new()
        .words("")
        .words("relation")
        .words("N need =")
        .numbers(with_unit("SD about it", Some(&calibrations.rate_unit)))
        .words("index range")
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
            range(relation),
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

fn range(relation: &RelationOf) -> String {
    match (relation.lowest_index, relation.highest_index) {
        (Some(low), Some(high)) => format!("{} to {}", fixed(low, INDEX_DECIMALS), fixed(high, INDEX_DECIMALS)),
        _ => String::new(),
    }
}

fn error_cells(errors: Errors) -> [String; 2] {
    let cell = |value: Option<f64>| or_dash(value, |value| fixed(value, ERROR_DECIMALS));
    [cell(errors.rmse), cell(errors.bias)]
}

fn validation(calibrations: &Calibrations, of: &TableCalibration) -> String {
    let Some(own) = of.validation.iter().find(|validation| validation.kind == of.relation) else {
        let text = "No validation: one site-year cannot be held out from itself.";
        return if of.site_years == 1 { format!("\n{}", paragraph("  ", text)) } else { String::new() };
    };
    let unit = Some(calibrations.rate_unit.as_str());
    let mut text = format!(
        "\n{}",
        paragraph(
            "  ",
            &format!(
                "Each site-year predicted by the others ({} relation): rate minus the need that could be met{}. One rate for all: the mean \
         need of the other site-years, without a reading. Bias: above 0 is too much N.",
                own.kind,
                with_unit("", unit),
            )
        )
    );
    text.push('\n');
    text += &held_out(own);
    text.push('\n');
    let mut kinds = TextTable::new()
        .words("all held-out site-years")
        .numbers("RMSE")
        .numbers("bias")
        .numbers("RMSE of one rate")
        .numbers("its bias");
    for validation in &of.validation {
        let mut cells = vec![validation.kind.to_owned()];
        cells.extend(error_cells(validation.rule));
        cells.extend(error_cells(validation.one_rate));
        kinds.row(cells);
    }
    text + &kinds.render(2)
}

fn held_out(validation: &ValidationOf) -> String {
    let mut table = TextTable::new()
        .words("held-out site-year")
        .numbers("points")
        .numbers("RMSE")
        .numbers("bias")
        .numbers("RMSE of one rate")
        .numbers("its bias")
        .words("");
    for site_year in &validation.site_years {
        let outside = site_year.predictions.iter().filter(|prediction| !prediction.in_domain).count();
        let note = match (&site_year.reason, outside) {
            (Some(reason), _) => reason.clone(),
            (None, 0) => String::new(),
            (None, outside) => format!("{outside} outside the others' index range"),
        };
        let mut cells = vec![site_year.site_year.clone(), site_year.predictions.len().to_string()];
        cells.extend(error_cells(site_year.rule));
        cells.extend(error_cells(site_year.one_rate));
        cells.push(note);
        table.row(cells);
    }
    table.render(2)
}
