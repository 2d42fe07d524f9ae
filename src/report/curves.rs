//! Response curves: whether yield answers to N, which curve stands for it, its coefficients, and the other families beside it.

use super::content::{Block, Cell, Section};
use super::draft::{Draft, Numerals, count, dash, with_unit, word};
use super::economics::is_number;
use super::figures::left_out;
use super::material::{Material, Telling, list, paragraph, section, shortened};
use crate::output::anova_text::p_cell;
use crate::output::curves_text::{capitalised, criterion, highest_rate, yield_decimals};
use crate::output::equation::equation;
use crate::output::group::group_text;
use crate::output::numbers::{NONE, decimals_of_rates, fixed, plain, significant};
use crate::output::optimum_text::status_text;
use crate::output::which_curve_text::{disagreement_text, priced};
use crate::output::{CurveGroup, FamilyCurve};
use crate::response::Reach;

/// Significant digits of a coefficient without a standard error.
const DIGITS: i32 = 4;

pub(super) fn curves(material: &Material<'_>) -> Section {
    let groups = &material.reports.curves.groups;
    let refused = groups.iter().filter(|group| group.chosen.is_none()).filter_map(|group| {
        let reason = group.reason.as_ref()?;
        Some(format!("{}: {reason}.", name_of(material, group)))
    });
    let refused = shortened(refused.collect(), "have none either");
    let disagree = groups.iter().filter_map(|group| {
        let found = group.disagreement.as_ref()?;
        let words = disagreement_text(found, group.rate_unit.as_deref(), decimals_of_rates(highest_rate(group)));
        Some(format!("{}: {}", name_of(material, group), material.set(&words)))
    });
    let disagree = shortened(disagree.collect(), "disagree too: see the optimum by family");
    let mut blocks: Vec<Block> = Vec::new();
    blocks.extend(paragraph(introduction(groups)));
    blocks.extend(tests(material).block());
    blocks.extend(chosen(material).block());
    blocks.extend(coefficients(material).block());
    blocks.extend(families(material).block());
    blocks.extend(by_factor(material).block());
    if !refused.is_empty() {
        blocks.extend(paragraph("No curve stands for these:"));
        blocks.extend(list(refused));
    }
    if !disagree.is_empty() {
        blocks.extend(paragraph("Where families fit about equally well, what they say of the optimum differs:"));
        blocks.extend(list(disagree));
    }
    blocks.extend(material.figures(&["response", "families"], None));
    blocks.extend(left_out(material));
    section("curves", "Response curves", blocks)
}

fn introduction(groups: &[CurveGroup]) -> String {
    let with = |wanted: &str| groups.iter().filter(|group| group.response == Some(wanted)).count();
    let untested = groups.iter().filter(|group| group.response.is_none()).count();
    let mut text = format!(
        "Of {} groups of plots, each with a curve of its own, a response to N is detected in {} and not shown in {}",
        groups.len(),
        with("detected"),
        with("not-detected") + with("negligible"),
    );
    if with("negligible") > 0 {
        text += &format!(" ({} of these allow no gain that would pay for the N)", with("negligible"));
    }
    if untested > 0 {
        text += &format!("; in {untested} it cannot be tested");
    }
    text + ". Not shown is not the same as absent."
}

fn telling(material: &Material<'_>) -> Telling {
    Telling::of(material.reports.curves.groups.iter().map(|group| &group.group))
}

fn name_of(material: &Material<'_>, group: &CurveGroup) -> String {
    material.set(&capitalised(&group_text(&group.group, material.rate_unit())))
}

fn tests(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let draft = Draft::new("response-tests", "Is there a response to N?");
    let mut draft = telling
        .columns(draft, material)
        .numbers("n")
        .numbers("blocks")
        .numbers("left out")
        .words("error")
        .words("response")
        .numbers("p")
        .words("tested by")
        .numbers("permutations")
        .numbers("F")
        .numbers("df")
        .numbers("error df")
        .numbers("p of F")
        .numbers("CV (%)");
    for group in &material.reports.curves.groups {
        let f = group.treatment.as_ref();
        let response = match group.response {
            Some("detected") => "detected",
            Some("negligible") => "not shown; none that pays",
            Some(_) => "not shown",
            None => "not tested",
        };
        let by = match (group.response_test, group.exhaustive) {
            (Some("permutation"), true) => "all permutations",
            (Some("permutation"), false) => "permutations",
            (Some(_), _) => "F test",
            (None, _) => NONE,
        };
        let permuted = group.response_test == Some("permutation");
        let own = [
            count(group.n),
            if group.blocks == 0 { dash() } else { count(group.blocks) },
            count(group.excluded),
            word(group.error_stratum),
            word(response),
            numerals.written(group.p_value, p_cell),
            word(by),
            if permuted { count(group.permutations) } else { dash() },
            numerals.cell(f.and_then(|f| f.f), 2),
            f.map_or_else(dash, |f| count(f.df)),
            f.map_or_else(dash, |f| count(f.error_df)),
            numerals.written(f.and_then(|f| f.p), p_cell),
            numerals.cell(f.and_then(|f| f.cv_percent), 1),
        ];
        draft.row(telling.cells(&group.group, material).into_iter().chain(own));
    }
    draft.note(
        "F: of the N rates as they are, whatever the curve. n: plots, or main plots and strips where N was on these.",
    );
    draft
}

/// The curve that stands for a group.
fn chosen_curve(group: &CurveGroup) -> Option<&FamilyCurve> {
    group.curves.iter().find(|curve| group.chosen == Some(curve.family) && curve.is_estimated())
}

fn chosen(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let draft = Draft::new("chosen-curves", "The curve that stands for each group");
    let mut draft = telling
        .columns(draft, material)
        .words("family")
        .words("chosen by")
        .words(material.of_yield("yield"))
        .numbers("R²")
        .numbers("AICc")
        .numbers("lack of fit: p")
        .numbers(material.of_rate("join"))
        .limits(&format!("join, {}", material.interval_head()))
        .numbers(material.of_rate("AONR"))
        .limits(&format!("AONR, {}", material.interval_head()));
    for group in &material.reports.curves.groups {
        let Some(curve) = chosen_curve(group) else { continue };
        let rates = decimals_of_rates(highest_rate(group));
        let by = match group.chosen_by {
            "response-test" => "response not shown",
            "declared" => "as asked for",
            "exact-fit" => "fits without error",
            by => criterion(by),
        };
        let join = join(numerals, group, curve);
        let aonr = curve.aonr.as_ref();
        let own = [
            word(curve.family),
            word(by),
            Cell { text: numerals.set(&equation(&curve.coefficients, yield_decimals(group))), number: None },
            numerals.cell(curve.r_squared.filter(|_| curve.family != "mean"), 3),
            numerals.cell(curve.aicc, 1),
            numerals.written(curve.lack_of_fit.map(|test| test.p), p_cell),
            join,
        ];
        let limits = numerals.limits(curve.join.as_ref(), rates);
        let of_aonr = [numerals.cell(aonr.and_then(|aonr| aonr.estimate), rates)];
        let aonr_limits = numerals.limits(aonr, rates);
        let cells = own.into_iter().chain(limits).chain(of_aonr).chain(aonr_limits);
        draft.row(telling.cells(&group.group, material).into_iter().chain(cells));
    }
    draft.note("N: the N rate; after \"then\" the plateau, beyond the join. R² is within blocks where there are any. Intervals are given the family. AONR: the agronomic optimum N rate, where the curve stops rising. At least: the join is not reached within the tested rates; at most: it lies below the second one.");
    draft
}

/// The join, or the bound that the data set it.
fn join(numerals: Numerals, group: &CurveGroup, curve: &FamilyCurve) -> Cell {
    let Some(join) = &curve.join else { return dash() };
    match curve.reach {
        Some(Reach::NotReached) => numerals.told(&format!("at least {}", plain(highest_rate(group))), None),
        Some(Reach::BeforeFirstRate) => {
            let second = group.means.get(1).map_or_else(|| NONE.to_owned(), |second| plain(second.rate));
            numerals.told(&format!("at most {second}"), None)
        }
        Some(Reach::WithinTestedRates) | None => numerals.cell(join.estimate, decimals_of_rates(highest_rate(group))),
    }
}

fn coefficients(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let draft = Draft::new("coefficients", "Coefficients of these curves");
    let mut draft = telling
        .columns(draft, material)
        .words("family")
        .words("coefficient")
        .words("unit")
        .numbers("estimate")
        .numbers("SE");
    let (rates, yields) = (material.wording.rate_unit(), material.wording.yield_unit());
    let slope = format!("({yields})/({rates})");
    for group in &material.reports.curves.groups {
        let Some(curve) = chosen_curve(group) else { continue };
        let (of, errors) = (&curve.coefficients, &curve.standard_errors);
        let squared = format!("({yields})/({rates})²");
        let root = format!("({yields})/√({rates})");
        let per_rate = format!("1/({rates})");
        let named = [
            ("intercept", yields, of.intercept, errors.intercept),
            ("slope at N = 0", slope.as_str(), of.slope.filter(|_| of.root.is_none()), errors.slope),
            ("coefficient of N", slope.as_str(), of.slope.filter(|_| of.root.is_some()), errors.slope),
            ("coefficient of N²", squared.as_str(), of.curvature, errors.curvature),
            ("coefficient of √N", root.as_str(), of.root, errors.root),
            ("plateau", yields, of.plateau, errors.plateau),
            ("rise", yields, of.rise, errors.rise),
            ("rate constant", per_rate.as_str(), of.rate_constant, errors.rate_constant),
            ("join", rates, curve.join.as_ref().and_then(|join| join.estimate), errors.join),
        ];
        for (name, unit, estimate, error) in named {
            if estimate.is_none() {
                continue;
            }
            let numbers = match error.filter(|error| error.is_finite() && *error > 0.0) {
                Some(_) => numerals.with_error(estimate, error, 0),
                None => [numerals.written(estimate, |value| significant(value, DIGITS)), dash()],
            };
            let own = [word(curve.family), word(name), word(unit)];
            draft.row(telling.cells(&group.group, material).into_iter().chain(own).chain(numbers));
        }
    }
    draft.note("SE: from the curve's derivatives at the estimate (the delta method); of a join the interval by profile is the better guide. Without an SE: the data set only a bound, or leave no error.");
    draft
}

fn families(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let groups = &material.reports.curves.groups;
    let best = if priced(groups.iter()) { "EONR" } else { "AONR" };
    let draft = Draft::new("curve-families", "Every family of every group");
    let mut draft = telling
        .columns(draft, material)
        .words("family")
        .words("stands for the group")
        .numbers("R²")
        .numbers("residual df")
        .numbers(with_unit("residual SD", material.yield_unit()))
        .numbers("AICc")
        .numbers("ΔAICc")
        .numbers("weight")
        .numbers("lack of fit: p")
        .numbers(material.of_rate(best));
    for group in groups {
        let rates = decimals_of_rates(highest_rate(group));
        let smallest = group.curves.iter().filter_map(|curve| curve.aicc).fold(f64::INFINITY, f64::min);
        for curve in group.curves.iter().filter(|curve| curve.is_estimated()) {
            let optimum = curve.best_rate.map_or_else(dash, |best| {
                numerals.told(&status_text(best.rate, best.status, rates), best.rate.filter(|_| is_number(best.status)))
            });
            let own = [
                word(curve.family),
                word(if group.chosen == Some(curve.family) { "yes" } else { "no" }),
                numerals.cell(curve.r_squared.filter(|_| curve.family != "mean"), 3),
                curve.df.map_or_else(dash, count),
                numerals.written(curve.sigma, |sigma| significant(sigma, 3)),
                numerals.cell(curve.aicc, 1),
                numerals.cell(curve.aicc.map(|aicc| aicc - smallest), 1),
                numerals.cell(curve.weight, 2),
                numerals.written(curve.lack_of_fit.map(|test| test.p), p_cell),
                optimum,
            ];
            draft.row(telling.cells(&group.group, material).into_iter().chain(own));
        }
    }
    draft.note("AICc compares the families of one group: smaller is better; the weights say how much each of them is worth. Lack of fit: p of treatment means that lie as far off the curve if the family is right.");
    draft
}

fn by_factor(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let tests = &material.reports.curves.factor_tests;
    let telling = Telling::of(tests.iter().map(|test| &test.group));
    let draft = Draft::new("response-by-factor", "Does the response differ between the levels of a factor?");
    let mut draft = telling
        .columns(draft, material)
        .words("factor")
        .words("levels")
        .numbers("F of N × factor")
        .numbers("df")
        .numbers("error df")
        .numbers("p")
        .words("not compared");
    for test in tests {
        let found = test.interaction;
        let own = [
            word(crate::output::group::factor_text(&test.factor)),
            word(&material.set(&test.levels.join(", "))),
            numerals.written(found.map(|found| found.f), |f| fixed(f, 2)),
            found.map_or_else(dash, |found| count(found.df)),
            found.map_or_else(dash, |found| count(found.error_df)),
            numerals.written(found.map(|found| found.p), p_cell),
            word(test.reason.as_deref().unwrap_or_default()),
        ];
        draft.row(telling.cells(&test.group, material).into_iter().chain(own));
    }
    draft
}
