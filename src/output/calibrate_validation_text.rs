//! Does the sensor pay, and how do rules do on site-years that they have not seen: for a reader.

use super::calibrate::{Calibrations, HeldOutSiteYear, PerformanceOf, TableCalibration, ValidationOf, VerdictOf};
use super::interval_words::interval_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{NONE, count, fixed, or_dash, p_value, percent};
use crate::calibration::{Rule, Word};
use crate::trial::NeedFrom;

/// Decimals of rates and of their errors: rates are rounded to whole units or coarser.
const RATE_DECIMALS: usize = 0;
/// Decimals of money an area and of yields.
pub(super) const RETURN_DECIMALS: usize = 2;

/// A rule in words.
pub(crate) fn rule_words(rule: &str) -> &str {
    match Rule::ALL.into_iter().find(|known| known.name() == rule) {
        Some(Rule::Sensor) => "sensor",
        Some(Rule::GivenEarly) => "best rate given early N",
        Some(Rule::FlatTotal) => "best total less early N",
        Some(Rule::FlatTopdress) => "best single topdress",
        Some(Rule::Standard) => "standard rate",
        Some(Rule::Hindsight) => "best in hindsight",
        None => rule,
    }
}

/// The verdict in a sentence.
pub(crate) fn verdict(verdict: &VerdictOf, return_unit: &str) -> String {
    let gain = verdict.gain.estimate.unwrap_or(0.0);
    let size = quantity(&fixed(gain.abs(), RETURN_DECIMALS), Some(return_unit));
    let compared = format!(
        "on {} not seen it forgoes {size} {} than the {} ({} interval of the gain {}; {})",
        count(verdict.site_years, "site-year"),
        if gain < 0.0 { "more" } else { "less" },
        rule_words(verdict.against),
        percent(verdict.gain.level),
        interval_text(&verdict.gain, RETURN_DECIMALS),
        p_value(verdict.p_value),
    );
    match verdict.verdict {
        word if word == Word::CannotTellYet.name() => {
            let more = match verdict.more_site_years {
                Some(more) => format!("About {} like these would tell.", count(more, "more site-year")),
                None => "No number of site-years within reason would tell a difference this small.".to_owned(),
            };
            format!("{}: {compared}. {more}", verdict_words(word))
        }
        word => format!("{}: {compared}.", verdict_words(word)),
    }
}

/// A verdict's word in a clause.
pub(super) fn verdict_words(word: &str) -> String {
    if word == Word::CannotTellYet.name() {
        "Cannot tell yet whether the sensor pays".to_owned()
    } else {
        format!("The sensor {word}")
    }
}

/// Verdict, rules over all site-years, what to know of them, and every site-year.
pub(super) fn validation(calibrations: &Calibrations, of: &TableCalibration) -> String {
    if of.site_years < 2 {
        let text = "No validation: one site-year cannot be held out from itself.";
        return if of.site_years == 1 { format!("\n{}", paragraph("  ", text)) } else { String::new() };
    }
    let mut text = String::from("\n");
    text += &match &of.verdict {
        Some(found) => paragraph("  ", &verdict(found, &of.return_unit)),
        None => paragraph("  ", "No verdict on the sensor: fewer than two site-years can be predicted by the others."),
    };
    let Some(own) = of.validation.iter().find(|validation| validation.held_out == "site-year") else { return text };
    if own.rules.is_empty() {
        return text + &not_predicted(own);
    }
    text += &format!("\n{}", over_all(calibrations, of, own));
    text += &notes(calibrations, of, own);
    text += &format!("\n{}", each(calibrations, of, own));
    text += &not_predicted(own);
    text + &others(calibrations, of)
}

fn over_all(calibrations: &Calibrations, of: &TableCalibration, own: &ValidationOf) -> String {
    let mut table = TextTable::new()
        .words("rule, held-out site-years")
        .numbers(with_unit("mean N", Some(&calibrations.rate_unit)).replace(", ", ",\n"))
        .numbers("RMSE of\nneed")
        .numbers("bias")
        .numbers(with_unit("forgone return", Some(&of.return_unit)).replace(", ", ",\n"))
        .numbers("site-years");
    for rule in &own.rules {
        table.row(vec![
            rule_words(rule.rule).to_owned(),
            fixed(rule.rate, RATE_DECIMALS),
            or_dash(rule.rmse, |rmse| fixed(rmse, RATE_DECIMALS)),
            or_dash(rule.bias, |bias| fixed(bias, RATE_DECIMALS)),
            forgone(rule),
            rule.site_years.to_string(),
        ]);
    }
    table.render(2)
}

/// What a rule forgoes, as a bound where it is one.
pub(crate) fn forgone(rule: &PerformanceOf) -> String {
    let bound = if rule.lower_bounds > 0 && rule.rule != Rule::Hindsight.name() { "≥ " } else { "" };
    format!("{bound}{}", fixed(rule.forgone, RETURN_DECIMALS))
}

fn notes(calibrations: &Calibrations, of: &TableCalibration, own: &ValidationOf) -> String {
    let mut text = format!(
        "Each site-year is predicted by the others: every choice is made anew without it, and its own curve then scores all rules alike. RMSE \
         and bias (above 0: too much N) are of rates minus needs that are numbers and could be met, in {}. Forgone return: net return lost \
         against the best rate in hindsight.",
        calibrations.rate_unit,
    );
    if own.parts < own.site_years.len() {
        text += &format!(" The {} are held out in {} parts.", count(own.site_years.len(), "site-year"), own.parts);
    }
    if own.rules.iter().any(|rule| rule.lower_bounds > 0) {
        text += " ≥: a lower bound, because the optimum of some points is not reached within the tested rates.";
    }
    let points = || own.site_years.iter().flat_map(|held_out| &held_out.predictions);
    if points().any(|prediction| prediction.point.need_from == NeedFrom::DifferenceFromOptimum) {
        text += " Where the need is a difference from the optimum no plot was topdressed: topdress N is taken to work as early N does.";
    }
    let outside = points().filter(|prediction| !prediction.in_domain).count();
    if outside > 0 {
        text += &format!(
            " {} beyond the others' indices: predicted at the nearest.",
            if outside == 1 { "1 point lies".to_owned() } else { format!("{outside} points lie") }
        );
    }
    if of.verdict.is_some() {
        text += " The sensor is judged against the better of the two flat rules that know the early N: against a single flat rate any sensor \
                 looks better than it is.";
    }
    paragraph("  ", &text)
}

/// How near the sensor comes in every site-year, then what every rule forgoes there.
fn each(calibrations: &Calibrations, of: &TableCalibration, own: &ValidationOf) -> String {
    let rules: Vec<&str> =
        own.rules.iter().map(|rule| rule.rule).filter(|rule| *rule != Rule::Hindsight.name()).collect();
    let mut near = TextTable::new()
        .words("held-out site-year")
        .words("relation")
        .numbers(with_unit("sensor N", Some(&calibrations.rate_unit)).replace(", ", ",\n"))
        .numbers("RMSE of\nneed")
        .numbers("bias");
    let mut forgoes = TextTable::new().words(format!("forgone return, {}", of.return_unit));
    for rule in &rules {
        forgoes = forgoes.numbers(rule_head(rule));
    }
    for held_out in &own.site_years {
        let Some(sensor) = held_out.rules.iter().find(|rule| rule.rule == Rule::Sensor.name()) else { continue };
        near.row(vec![
            held_out.site_year.clone(),
            held_out.relation.unwrap_or(NONE).to_owned(),
            fixed(sensor.rate, RATE_DECIMALS),
            or_dash(sensor.rmse, |rmse| fixed(rmse, RATE_DECIMALS)),
            or_dash(sensor.bias, |bias| fixed(bias, RATE_DECIMALS)),
        ]);
        let of_rule = |rule: &&str| held_out.rules.iter().find(|found| found.rule == *rule);
        let each = rules.iter().map(|rule| of_rule(rule).map_or_else(|| NONE.to_owned(), forgone));
        forgoes.row(std::iter::once(held_out.site_year.clone()).chain(each).collect());
    }
    format!("{}\n{}", near.render(2), forgoes.render(2))
}

/// A rule over a column.
fn rule_head(rule: &str) -> &str {
    match Rule::ALL.into_iter().find(|known| known.name() == rule) {
        Some(Rule::GivenEarly) => "given\nearly N",
        Some(Rule::FlatTotal) => "total -\nearly N",
        Some(Rule::FlatTopdress) => "single\ntopdress",
        Some(Rule::Standard) => "standard",
        _ => rule_words(rule),
    }
}

fn not_predicted(own: &ValidationOf) -> String {
    let reason = |held_out: &HeldOutSiteYear| {
        let reason = held_out.reason.as_ref()?;
        Some(paragraph("  ", &format!("{}: not predicted: {reason}.", held_out.site_year)))
    };
    own.site_years.iter().filter_map(reason).collect()
}

/// Seasons and sites left out, in short.
fn others(calibrations: &Calibrations, of: &TableCalibration) -> String {
    let against = of.verdict.as_ref().map(|verdict| verdict.against);
    let mut table = TextTable::new()
        .words("left out as a whole")
        .numbers("parts")
        .numbers(with_unit("RMSE", Some(&calibrations.rate_unit)).replace(", ", ",\n"))
        .numbers("bias")
        .numbers(format!("forgone, {}:\nsensor", of.return_unit));
    if let Some(against) = against {
        table = table.numbers(rule_words(against).to_owned());
    }
    for validation in of.validation.iter().filter(|validation| validation.held_out != "site-year") {
        let Some(sensor) = validation.rule(Rule::Sensor.name()) else { continue };
        let mut cells = vec![
            format!("each {}", validation.held_out),
            validation.parts.to_string(),
            or_dash(sensor.rmse, |rmse| fixed(rmse, RATE_DECIMALS)),
            or_dash(sensor.bias, |bias| fixed(bias, RATE_DECIMALS)),
            forgone(sensor),
        ];
        if let Some(against) = against {
            cells.push(validation.rule(against).map_or_else(|| NONE.to_owned(), forgone));
        }
        table.row(cells);
    }
    let rendered = table.render(2);
    if rendered.is_empty() { rendered } else { format!("\n{rendered}") }
}
