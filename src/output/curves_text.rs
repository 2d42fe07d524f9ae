//! Response curves for a reader.

use super::curves::{CurveGroup, Curves, FamilyCurve};
use super::equation::equation;
use super::group::group_text;
use super::interval_words::{interval_head, interval_text, method_note};
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{NONE, count, decimals_of_error, decimals_of_rates, fixed, or_dash, p_value, plain, significant};
use super::optimum_text::{put_back_in, refitted_rate};
use super::which_curve_text::{comparison, disagreement, factor_tests, priced, residuals};
use crate::response::Reach;

/// How the coefficients are to be read.
const LEGEND: &str = "Yield: the curve, N the N rate; after \"then\" the plateau, beyond the join. R² is within blocks where there \
    are any. AICc compares the families of one group: smaller is better; the weights say how much each of them is worth. Lack of fit: p of \
    treatment means that lie as far off the curve if the family is right, so a small p speaks against it. ";
const EONR: &str = "EONR: the economic optimum N rate at the programme's prices, as each family has it.";
const AONR: &str =
    "AONR: the agronomic optimum N rate, where the curve stops rising; a line and an exponential rise have none.";

pub(super) fn text(curves: &Curves) -> String {
    let groups: Vec<String> = curves.groups.iter().map(group_section).collect();
    let rates = if priced(curves.groups.iter()) { EONR } else { AONR };
    let legend = if curves.any() { format!("\n{}", paragraph("", &format!("{LEGEND}{rates}"))) } else { String::new() };
    format!("Yield response to N\n\n{}{}{legend}", groups.join("\n"), factor_tests(&curves.factor_tests))
}

fn group_section(group: &CurveGroup) -> String {
    let mut section = format!("{}\n", capitalised(&group_text(&group.group, group.rate_unit.as_deref())));
    section += &paragraph("  ", &observations(group));
    if let Some(reason) = only_reason(group) {
        return section + &paragraph("  ", &format!("No curve can be fitted: {reason}."));
    }
    section += &paragraph("  ", &response(group));
    section += &paragraph("  ", &analysis(group));
    section.push('\n');
    section += &means(group);
    section.push('\n');
    section += &families(group);
    section.push('\n');
    section += &comparison(group);
    section += &notes(group);
    section += &disagreement(group);
    section += &residuals(group);
    section += &with_excluded(group);
    section
}

/// Why no family at all could be fitted.
fn only_reason(group: &CurveGroup) -> Option<&str> {
    let first = group.curves.first()?.reason.as_deref()?;
    group.curves.iter().all(|curve| curve.reason.as_deref() == Some(first)).then_some(first)
}

fn observations(group: &CurveGroup) -> String {
    let mut words = match group.plots {
        plots if plots == group.n => count(group.n, group.observed_as.unwrap_or("observation")),
        plots => format!("{} of {}", count(group.n, "treatment mean"), count(plots, "plot")),
    };
    if group.blocks > 0 {
        words += &format!(" in {}", count(group.blocks, "block"));
    }
    if let Some(factor) = &group.averaged_over {
        words += &format!(", each the mean over the levels of {factor}");
    }
    if let Some(factor) = &group.pooled_over {
        words +=
            &format!(", pooled over {factor}: each of its levels has a height of its own, and N × {factor} is error");
    }
    if group.excluded > 0 {
        words += &format!(", {} left out ({})", group.excluded, reasons(group));
    }
    format!("{words}; error: {}.", group.error_stratum)
}

fn reasons(group: &CurveGroup) -> String {
    let mut counted: Vec<(&str, usize)> = Vec::new();
    for left_out in &group.left_out {
        match counted.iter_mut().find(|(reason, _)| *reason == left_out.reason) {
            Some((_, number)) => *number += 1,
            None => counted.push((&left_out.reason, 1)),
        }
    }
    let each = counted.into_iter().map(|(reason, number)| format!("{reason}: {number}"));
    each.collect::<Vec<_>>().join("; ")
}

fn response(group: &CurveGroup) -> String {
    let verdict = match group.response {
        Some("detected") => "Response to N: detected",
        Some("negligible") => "Response to N: not shown, and no gain that the plots allow would pay for the N",
        Some(_) => "Response to N: not shown",
        None => {
            let why = group.untested.as_ref().map_or_else(String::new, |reason| format!(": {reason}"));
            return format!("Response to N: cannot be tested{why}.");
        }
    };
    let p = group.p_value.map_or_else(String::new, p_value);
    if group.response_test == Some("f") && group.permutations == 0 {
        return format!("{verdict} (F test of the rates, {p}; treatment means have no plots to permute).");
    }
    if group.response_test == Some("f") {
        let ways = count(group.permutations + 1, "way");
        return format!(
            "{verdict} (F test of the rates, {p}; the plots can be arranged in {ways} only, too few for a permutation test)."
        );
    }
    let permutations = count(group.permutations, "permutation");
    let all = if group.exhaustive { "all " } else { "" };
    format!("{verdict} (permutation test of a rising response, {p}, {all}{permutations}).")
}

fn analysis(group: &CurveGroup) -> String {
    let Some(treatment) = &group.treatment else { return String::new() };
    let test = match (treatment.f, treatment.p) {
        (Some(f), Some(p)) => {
            format!("F = {} on {} and {} df, {}", significant(f, 4), treatment.df, treatment.error_df, p_value(p))
        }
        _ => "no F test, as there is no error to test against".to_owned(),
    };
    let cv = treatment.cv_percent.map_or_else(String::new, |cv| format!("; CV {} %", fixed(cv, 1)));
    format!("Analysis of variance of the N rates: {test}{cv}.")
}

/// Decimals of yields in a group: as its standard errors want them, or four significant digits.
pub(crate) fn yield_decimals(group: &CurveGroup) -> usize {
    let smallest = group.means.iter().filter_map(|mean| mean.standard_error).fold(f64::INFINITY, f64::min);
    let largest = group.means.iter().map(|mean| mean.mean.abs()).fold(0.0, f64::max);
    decimals_of_error(smallest).or_else(|| decimals_of_error(largest / 100.0)).unwrap_or(1)
}

pub(crate) fn highest_rate(group: &CurveGroup) -> f64 {
    group.means.last().map_or(0.0, |mean| mean.rate)
}

fn means(group: &CurveGroup) -> String {
    let decimals = yield_decimals(group);
    let mut table = TextTable::new()
        .numbers(with_unit("N rate", group.rate_unit.as_deref()))
        .numbers("n")
        .numbers(with_unit("mean yield", group.yield_unit.as_deref()))
        .numbers("SE");
    for mean in &group.means {
        table.row(vec![
            plain(mean.rate),
            mean.n.to_string(),
            fixed(mean.mean, decimals),
            or_dash(mean.standard_error, |error| fixed(error, decimals)),
        ]);
    }
    let plain =
        "Blocks do not connect these rates: the means are plain means, with the differences between blocks in them.";
    let note = if group.rates_connected { String::new() } else { paragraph("  ", plain) };
    table.render(2) + &note
}

fn families(group: &CurveGroup) -> String {
    let level = group.curves.iter().filter_map(|curve| curve.join.as_ref()).map(|join| join.level).next();
    let decimals = yield_decimals(group);
    let rates = decimals_of_rates(highest_rate(group));
    let mut table = TextTable::new()
        .words("")
        .words("family")
        .words(with_unit("yield", group.yield_unit.as_deref()))
        .words(with_unit("join", group.rate_unit.as_deref()))
        .words(interval_head(level));
    for curve in group.curves.iter().filter(|curve| curve.is_estimated()) {
        table.row(vec![
            if group.chosen == Some(curve.family) { "*" } else { "" }.to_owned(),
            curve.family.to_owned(),
            equation(&curve.coefficients, decimals),
            join(group, curve),
            curve.join.as_ref().map_or_else(String::new, |join| interval_text(join, rates)),
        ]);
    }
    table.render(2)
}

/// The join, or the bound that the data set it.
fn join(group: &CurveGroup, curve: &FamilyCurve) -> String {
    let rates = decimals_of_rates(highest_rate(group));
    match curve.reach.filter(|_| curve.join.is_some()) {
        None => String::new(),
        Some(Reach::WithinTestedRates) => {
            or_dash(curve.join.as_ref().and_then(|join| join.estimate), |join| fixed(join, rates))
        }
        Some(Reach::NotReached) => format!("at least {}", plain(highest_rate(group))),
        Some(Reach::BeforeFirstRate) => {
            group.means.get(1).map_or_else(|| NONE.to_owned(), |second| format!("at most {}", plain(second.rate)))
        }
    }
}

fn notes(group: &CurveGroup) -> String {
    let mut notes = chosen_note(group);
    let rate_unit = group.rate_unit.as_deref();
    let any = |reach: Reach| group.curves.iter().any(|curve| curve.join.is_some() && curve.reach == Some(reach));
    if any(Reach::NotReached) {
        let highest = quantity(&plain(highest_rate(group)), rate_unit);
        notes +=
            &paragraph("  ", &format!("At least: the join is not reached within the tested rates, up to {highest}."));
    }
    if any(Reach::BeforeFirstRate) {
        notes +=
            &paragraph("  ", "At most: the join lies below the second tested rate, where no plot tells joins apart.");
    }
    let joins = || group.curves.iter().filter_map(|curve| Some((curve.family, curve.join.as_ref()?)));
    let method = joins().find_map(|(_, join)| method_note(&join.method));
    notes += &method.map_or_else(String::new, |note| paragraph("  ", note));
    for (family, join) in joins() {
        if let Some(reason) = &join.reason {
            notes += &paragraph("  ", &format!("No interval of the join of {family}: {reason}."));
        }
    }
    for curve in &group.curves {
        if let Some(reason) = &curve.reason {
            notes += &paragraph("  ", &format!("{} is not estimable: {reason}.", capitalised(curve.family)));
        }
    }
    notes
}

fn chosen_note(group: &CurveGroup) -> String {
    let note = match (group.chosen, group.chosen_by) {
        (None, _) => group.reason.as_ref().map_or_else(String::new, |reason| format!("None is chosen: {reason}.")),
        (Some(_), "response-test") => "* the mean stands for the group, as a response is not shown.".to_owned(),
        (Some(_), "declared") => "* the family that was asked for.".to_owned(),
        (Some(_), "exact-fit") => {
            "* chosen: the simplest family that fits without error, where AICc is not defined.".to_owned()
        }
        (Some("square-root"), by) => format!(
            "* chosen: smallest {}. It describes; an optimum is not read from it, because it is infinitely steep at 0.",
            criterion(by),
        ),
        (Some(_), by) => format!("* chosen: smallest {}.", criterion(by)),
    };
    paragraph("  ", &note)
}

/// What changes with the yields that are left out put back in.
fn with_excluded(group: &CurveGroup) -> String {
    let Some(refitted) = &group.with_excluded else { return String::new() };
    let response = match refitted.response {
        Some("detected") => "response detected",
        Some(_) => "response not shown",
        None => "response not tested",
    };
    let p = refitted.p_value.map_or_else(String::new, |p| format!(" ({})", p_value(p)));
    let chosen = refitted.chosen.map_or_else(String::new, |family| format!(", {family} stands for the group"));
    let rates = decimals_of_rates(highest_rate(group));
    let optimum = refitted.optimum.as_ref().filter(|_| refitted.response == Some("detected"));
    let optimum = optimum
        .map_or_else(String::new, |optimum| format!("; {}", refitted_rate(optimum, group.rate_unit.as_deref(), rates)));
    let put_in = capitalised(&put_back_in(refitted.put_in));
    paragraph("  ", &format!("{put_in}: {response}{p}{chosen}{optimum}."))
}

pub(crate) fn criterion(by: &str) -> &str {
    match by {
        "aicc" => "AICc",
        "bic" => "BIC, as AICc is not defined for so few observations",
        other => other,
    }
}

/// With a capital letter at the beginning.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
