//! Does the sensor pay, and how do rules do on site-years that they have not seen?

use super::content::Block;
use super::draft::{Draft, count, dash, with_unit, word};
use super::material::{Material, paragraph};
use crate::calibration::Rule;
use crate::output::calibrate_validation_text::{forgone, rule_words, verdict};
use crate::output::numbers::count as counted;
use crate::output::{PerformanceOf, TableCalibration, ValidationOf};
use crate::trial::NeedFrom;

/// Decimals of rates and of their errors: rates are rounded to whole units or coarser.
const RATE_DECIMALS: usize = 0;

/// Verdict, rules over all site-years, and every site-year.
pub(super) fn validation(material: &Material<'_>, of: &TableCalibration) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    if of.site_years < 2 {
        let text = "No validation: one site-year cannot be held out from itself.";
        blocks.extend(paragraph(text).filter(|_| of.site_years == 1));
        return blocks;
    }
    blocks.extend(paragraph(match &of.verdict {
        Some(found) => material.set(&verdict(found, &of.return_unit)),
        None => "No verdict on the sensor: fewer than two site-years can be predicted by the others.".to_owned(),
    }));
    let Some(own) = of.validation.iter().find(|validation| validation.held_out == "site-year") else { return blocks };
    blocks.extend(rules(material, of, own).block());
    blocks.extend(each(material, of, own).block());
    blocks.extend(wholes(material, of).block());
    blocks
}

/// What a rule forgoes, with the number where it is no bound.
fn forgone_cell(material: &Material<'_>, rule: &PerformanceOf) -> super::content::Cell {
    let text = forgone(rule);
    let number = Some(rule.forgone).filter(|_| !text.starts_with('≥'));
    material.numerals.told(&text, number)
}

fn rules(material: &Material<'_>, of: &TableCalibration, own: &ValidationOf) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(format!("rules-{}", of.table), format!("{}: rules on held-out site-years", of.table))
        .words("rule")
        .numbers(material.of_rate("mean N"))
        .numbers(material.of_rate("RMSE of need"))
        .numbers(material.of_rate("bias"))
        .numbers(with_unit("forgone return", Some(&of.return_unit)))
        .numbers("site-years");
    for rule in &own.rules {
        draft.row([
            word(rule_words(rule.rule)),
            numerals.cell(rule.rate, RATE_DECIMALS),
            numerals.cell(rule.rmse, RATE_DECIMALS),
            numerals.cell(rule.bias, RATE_DECIMALS),
            forgone_cell(material, rule),
            count(rule.site_years),
        ]);
    }
    draft.note("Each site-year is predicted by the others: every choice is made anew without it, and its own curve then scores all rules alike. RMSE and bias (above 0: too much N) are of rates minus needs that are numbers and could be met. Forgone return: net return lost against the best rate in hindsight.");
    if own.parts < own.site_years.len() {
        draft.note(format!("The {} are held out in {} parts.", counted(own.site_years.len(), "site-year"), own.parts));
    }
    if own.rules.iter().any(|rule| rule.lower_bounds > 0) {
        draft.note("≥: a lower bound, because the optimum of some points is not reached within the tested rates.");
    }
    let points = || own.site_years.iter().flat_map(|held_out| &held_out.predictions);
    if points().any(|prediction| prediction.point.need_from == NeedFrom::DifferenceFromOptimum) {
        draft.note("Where the need is a difference from the optimum no plot was topdressed: topdress N is taken to work as early N does.");
    }
    let outside = points().filter(|prediction| !prediction.in_domain).count();
    if outside > 0 {
        draft.note(format!(
            "{outside} of {} points lie beyond the others' indices: predicted at the nearest.",
            points().count()
        ));
    }
    draft
}

fn each(material: &Material<'_>, of: &TableCalibration, own: &ValidationOf) -> Draft {
    let numerals = material.numerals;
    let others: Vec<&str> =
        own.rules.iter().map(|rule| rule.rule).filter(|rule| *rule != Rule::Hindsight.name()).collect();
    let draft = Draft::new(format!("held-out-{}", of.table), format!("{}: every held-out site-year", of.table))
        .words("site-year")
        .words("relation")
        .numbers("points")
        .numbers(material.of_rate("sensor N"))
        .numbers(material.of_rate("RMSE of need"))
        .numbers(material.of_rate("bias"));
    let head = |rule: &&str| with_unit(&format!("forgone: {}", rule_words(rule)), Some(&of.return_unit));
    let mut draft = others.iter().fold(draft, |draft, rule| draft.numbers(head(rule))).words("not predicted, because");
    for held_out in &own.site_years {
        let rule = |name: &str| held_out.rules.iter().find(|rule| rule.rule == name);
        let sensor = rule(Rule::Sensor.name());
        let head = [
            word(&held_out.site_year),
            word(held_out.relation.unwrap_or_default()),
            count(held_out.predictions.len()),
            numerals.cell(sensor.map(|sensor| sensor.rate), RATE_DECIMALS),
            numerals.cell(sensor.and_then(|sensor| sensor.rmse), RATE_DECIMALS),
            numerals.cell(sensor.and_then(|sensor| sensor.bias), RATE_DECIMALS),
        ];
        let forgone = others.iter().map(|name| rule(name).map_or_else(dash, |rule| forgone_cell(material, rule)));
        let reason = [word(held_out.reason.as_deref().unwrap_or_default())];
        draft.row(head.into_iter().chain(forgone).chain(reason));
    }
    if own.rules.iter().any(|rule| rule.lower_bounds > 0) {
        draft.note("≥: a lower bound.");
    }
    draft
}

/// Seasons and sites left out as a whole.
fn wholes(material: &Material<'_>, of: &TableCalibration) -> Draft {
    let numerals = material.numerals;
    let against = of.verdict.as_ref().map(|verdict| verdict.against);
    let mut draft =
        Draft::new(format!("wholes-{}", of.table), format!("{}: seasons and sites left out as a whole", of.table))
            .words("left out")
            .numbers("parts")
            .numbers(material.of_rate("RMSE of need"))
            .numbers(material.of_rate("bias"))
            .numbers(with_unit("forgone: sensor", Some(&of.return_unit)));
    if let Some(against) = against {
        draft = draft.numbers(format!("forgone: {}", rule_words(against)));
    }
    for validation in of.validation.iter().filter(|validation| validation.held_out != "site-year") {
        let Some(sensor) = validation.rule(Rule::Sensor.name()) else { continue };
        let head = [
            word(&format!("each {}", validation.held_out)),
            count(validation.parts),
            numerals.cell(sensor.rmse, RATE_DECIMALS),
            numerals.cell(sensor.bias, RATE_DECIMALS),
            forgone_cell(material, sensor),
        ];
        let other =
            against.map(|against| validation.rule(against).map_or_else(dash, |rule| forgone_cell(material, rule)));
        draft.row(head.into_iter().chain(other));
    }
    draft
}
