//! Which curve, for a reader.

use super::curves::CurveGroup;
use super::curves_text::{capitalised, highest_rate, yield_decimals};
use super::group::group_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{decimals_of_rates, fixed, or_dash, p_value, plain, rate, significant};
use super::optimum_text::status_text;
use super::which_curve::{Diagnostics, FactorTests};
use crate::response::{Disagreement, FamilyOptimum, NestedTest, OptimumStatus};

/// A test of the residuals is notable where p is below this. Several are made of every group, so that one in twenty would be named by chance
/// all too often.
const NOTABLE: f64 = 0.01;
/// A leverage is notable where it is this many times the mean of all (twice or three times is common practice).
const NOTABLE_LEVERAGE: f64 = 3.0;
/// A response differs between levels where p is at most this.
const ALPHA: f64 = 0.05;

/// Whether the rates of these groups are economic optima.
pub(crate) fn priced<'a>(mut groups: impl Iterator<Item = &'a CurveGroup>) -> bool {
    groups.any(|group| group.curves.iter().filter_map(|curve| curve.best_rate).any(|best| best.price_ratio != 0.0))
}

/// The families side by side.
pub(super) fn comparison(group: &CurveGroup) -> String {
    let criterion = if group.weighted_by == Some("bic") { "BIC" } else { "AICc" };
    let best = if priced(std::iter::once(group)) { "EONR" } else { "AONR" };
    let decimals = decimals_of_rates(highest_rate(group));
    let mut table = TextTable::new()
        .words("")
        .words("family")
        .numbers("R²")
        .numbers(criterion)
        .numbers("weight")
        .numbers("lack of fit")
        .numbers(with_unit(best, group.rate_unit.as_deref()));
    for curve in group.curves.iter().filter(|curve| curve.is_estimated()) {
        let value = if criterion == "BIC" { curve.bic } else { curve.aicc };
        table.row(vec![
            if group.chosen == Some(curve.family) { "*" } else { "" }.to_owned(),
            curve.family.to_owned(),
            or_dash(curve.r_squared.filter(|_| curve.family != "mean"), |value| fixed(value, 3)),
            or_dash(value, |value| fixed(value, 1)),
            curve.weight.map_or_else(String::new, |weight| fixed(weight, 2)),
            curve.lack_of_fit.map_or_else(String::new, |test| p_value(test.p)),
            curve.best_rate.map_or_else(String::new, |best| status_text(best.rate, best.status, decimals)),
        ]);
    }
    table.render(2)
}

/// By how much families that fit about equally well disagree on the optimum; nothing where prices are not known or one stands out.
pub(super) fn disagreement(group: &CurveGroup) -> String {
    let Some(found) = &group.disagreement else { return String::new() };
    let decimals = decimals_of_rates(highest_rate(group));
    paragraph("  ", &capitalised(&disagreement_text(found, group.rate_unit.as_deref(), decimals)))
}

/// *linear-plateau and quadratic fit about equally well (AICc within 2) but put the EONR at 78 (linear-plateau) and 118 lb/ac (quadratic), 40
/// lb/ac apart.*
pub(crate) fn disagreement_text(found: &Disagreement, rate_unit: Option<&str>, decimals: usize) -> String {
    let families = listed(&found.families.iter().map(|family| family.name()).collect::<Vec<_>>());
    let criterion = if found.by == "bic" { "BIC" } else { "AICc" };
    let alike = format!("{families} fit about equally well ({criterion} within {} of the best)", plain(found.within));
    let said = |optimum: FamilyOptimum| status_text(Some(optimum.rate), optimum.status, decimals);
    let (lowest, highest) = (said(found.lowest), said(found.highest));
    if lowest == highest {
        return format!("{alike}, and agree on the EONR: {}.", quantity(&lowest, rate_unit));
    }
    let unreached = found.highest.status == OptimumStatus::AtHighestTestedRate;
    let apart = quantity(&rate(found.by_how_much, decimals), rate_unit);
    let at_least = if unreached { "at least " } else { "" };
    format!(
        "{alike}, but put the EONR anywhere from {lowest} ({}) to {} ({}): {at_least}{apart} apart.",
        found.lowest.family,
        quantity(&highest, rate_unit),
        found.highest.family,
    )
}

/// *a*, *a and b*, *a, b and c*.
fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// What is notable about the residuals of the chosen curve.
pub(super) fn residuals(group: &CurveGroup) -> String {
    let Some(found) = &group.diagnostics else { return String::new() };
    let notable = notable(group, found);
    if notable.is_empty() {
        return paragraph("  ", &format!("Residuals of the chosen curve: nothing unusual{}.", tests(found)));
    }
    let all: String = notable.iter().map(|sentence| format!(" {sentence}")).collect();
    paragraph("  ", &format!("Residuals of the chosen curve:{all} Nothing is removed on that account."))
}

/// The tests that found nothing, in brackets.
fn tests(found: &Diagnostics) -> String {
    let tests = [
        found.normality.map(|test| format!("normality {}", p_value(test.p))),
        found.spread.map(|test| format!("equal spread {}", p_value(test.p))),
        found
            .furthest
            .as_ref()
            .map(|furthest| format!("furthest off: {}, {}", furthest.observation, p_value(furthest.p))),
    ];
    let tests: Vec<String> = tests.into_iter().flatten().collect();
    if tests.is_empty() { String::new() } else { format!(" ({})", tests.join("; ")) }
}

fn notable(group: &CurveGroup, found: &Diagnostics) -> Vec<String> {
    let mut sentences = Vec::new();
    if let Some(furthest) = found.furthest.as_ref().filter(|furthest| furthest.p < ALPHA) {
        let side = if furthest.residual > 0.0 { "above" } else { "below" };
        let distance = quantity(&fixed(furthest.residual.abs(), yield_decimals(group)), group.yield_unit.as_deref());
        let at = quantity(&plain(furthest.rate), group.rate_unit.as_deref());
        sentences.push(format!(
            "{} ({at}) lies {distance} {side} the curve, further than chance would put any of {} ({}): check what was recorded there.",
            furthest.observation,
            found.residuals.len(),
            p_value(furthest.p),
        ));
    }
    if let Some(test) = found.spread.filter(|test| test.p < NOTABLE) {
        sentences.push(format!(
            "they do not spread alike at all rates ({}), so intervals are too narrow where they spread most.",
            p_value(test.p)
        ));
    }
    if let Some(test) = found.normality.filter(|test| test.p < NOTABLE) {
        sentences.push(format!("they are not normal (W = {}, {}).", fixed(test.w, 3), p_value(test.p)));
    }
    if let Some(highest) = found.highest_leverage.as_ref().filter(|it| it.leverage > NOTABLE_LEVERAGE * it.mean) {
        sentences.push(format!(
            "{} sways the curve most (leverage {}, {} times the mean).",
            highest.observation,
            fixed(highest.leverage, 2),
            fixed(highest.leverage / highest.mean, 1),
        ));
    }
    sentences
}

/// Whether the response differs between levels.
pub(super) fn factor_tests(tests: &[FactorTests]) -> String {
    tests.iter().map(|test| format!("\n{}", factor_test(test))).collect()
}

fn factor_test(test: &FactorTests) -> String {
    let among = if test.group.is_empty() { String::new() } else { format!(", {}", group_text(&test.group, None)) };
    let factor = &test.factor;
    let head = format!("Does the response to N differ between the {} levels of {factor}{among}?\n", test.levels.len());
    if let Some(reason) = &test.reason {
        return head + &paragraph("  ", &format!("They cannot be compared: {reason}."));
    }
    let interaction = match &test.interaction {
        None => format!("It cannot be tested: no error is left beside the N rates and {factor}."),
        Some(found) => {
            let differs = found.p <= ALPHA;
            let verdict = if differs { "Yes: it differs" } else { "Not shown" };
            format!("{verdict} (N rate × {factor}: {}).", f_text(found))
        }
    };
    head + &paragraph("  ", &format!("{interaction}{}", curve_test(test)))
}

/// The test of the family that describes all levels together best.
fn curve_test(test: &FactorTests) -> String {
    let common = test.curves.iter().find(|curve| Some(curve.family.name()) == test.common);
    let Some((curve, found)) = common.and_then(|curve| Some((curve, curve.test?))) else { return String::new() };
    let family = curve.family;
    let tested = f_text(&found);
    if found.p <= ALPHA {
        format!(" A {family} for each level fits better than one for all that differ in height alone ({tested}).")
    } else {
        format!(
            " One {family} for all levels, which differ in height alone, is not shown to fit worse than one for each ({tested})."
        )
    }
}

/// *F = 0.303 on 6 and 45 df, p = 0.932*.
fn f_text(test: &NestedTest) -> String {
    format!("F = {} on {} and {} df, {}", significant(test.f, 3), test.df, test.error_df, p_value(test.p))
}
