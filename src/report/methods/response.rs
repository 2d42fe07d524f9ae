//! Response curves and their optima.

use super::references::{Citations, Reference};
use super::{Part, and, level, number};
use crate::output::numbers::price_ratio;
use crate::output::{CurveGroup, FamilyCurve};
use crate::report::material::Material;
use crate::response::{Bootstrap, BootstrapLimits, Family, IntervalMethod, RESPONSE_ALPHA, Resampling};
use crate::trial::NearOptimumWithin;

pub(super) fn curves(material: &Material<'_>, citations: &mut Citations) -> Part {
    let fitted: Vec<&CurveGroup> = material
        .reports
        .curves
        .groups
        .iter()
        .filter(|group| group.curves.iter().any(FamilyCurve::is_estimated))
        .collect();
    if fitted.is_empty() {
        return None;
    }
    let families: Vec<&str> = Family::ALL
        .iter()
        .filter(|family| {
            fitted.iter().any(|group| group.curves.iter().any(|of| of.family == family.name() && of.is_estimated()))
        })
        .map(|family| family.name())
        .collect();
    let blocks = if fitted.iter().any(|group| group.blocks > 0) { ", block effects removed" } else { "" };
    let mut text = format!(
        "A response curve of yield on N was fitted by least squares to each group of plots of one trial, variety and level of further factors{blocks}, \
         in the families {}. Each family is linear once one shape parameter is fixed, and that parameter was searched globally, so no starting values \
         were needed.",
        and(&families),
    );
    text += &chosen(&fitted, citations);
    text += &material.set(&response_test(&fitted));
    text += &intervals(material, citations);
    let diagnosed =
        fitted.iter().any(|group| group.diagnostics.as_ref().is_some_and(|found| found.normality.is_some()));
    if diagnosed {
        text += &format!(
            " Residuals of the chosen curves were tested for normality {} and equal spread {}, the furthest by its studentised residual {}; none was \
             removed.",
            citations.cite(&[Reference::Royston1995]),
            citations.cite(&[Reference::BrownForsythe1974]),
            citations.cite(&[Reference::CookWeisberg1982]),
        );
    }
    if material.reports.curves.factor_tests.iter().any(|test| test.interaction.is_some()) {
        text += " Whether the response differs between levels of a factor was tested by the F test of N rate × factor.";
    }
    Some(("Response curves", text))
}

fn chosen(fitted: &[&CurveGroup], citations: &mut Citations) -> String {
    let by = |wanted: &str| fitted.iter().any(|group| group.chosen_by == wanted);
    let mut text = String::new();
    if by("aicc") {
        text += &format!(
            " Of each group the family with the smallest AICc {} stands.",
            citations.cite(&[Reference::HurvichTsai1989])
        );
    }
    if by("bic") {
        text += " Where AICc is not defined for so few observations, BIC chose the family.";
    }
    if by("declared") {
        text += " The family was settled beforehand and taken where it could be estimated.";
    }
    if fitted.iter().any(|group| group.weighted_by.is_some()) {
        text +=
            &format!(" Families are weighed by that criterion {}.", citations.cite(&[Reference::BurnhamAnderson2002]));
    }
    text
}

fn response_test(fitted: &[&CurveGroup]) -> String {
    let permuted: Vec<&&CurveGroup> =
        fitted.iter().filter(|group| group.response_test == Some("permutation")).collect();
    let mut text = String::new();
    if let Some(most) = permuted.iter().map(|group| group.permutations).max() {
        let mut randomised: Vec<&str> = permuted.iter().map(|group| group.error_stratum).collect();
        randomised.sort_unstable();
        randomised.dedup();
        let all = if permuted.iter().any(|group| group.exhaustive) { ", or all that there are," } else { "" };
        text += &format!(
            " A response to N was tested by a permutation test of the best rising curve: {most} permutations{all} of what was randomised ({}); it is detected where p ≤ {RESPONSE_ALPHA}. A response that is not detected is called not shown, and the mean stands for \
             the group.",
            and(&randomised),
        );
    }
    if fitted.iter().any(|group| group.response_test == Some("f")) {
        text += " Where plots can be arranged in too few ways for a permutation test, the F test of the rates decided.";
    }
    text
}

fn intervals(material: &Material<'_>, citations: &mut Citations) -> String {
    let level = level(material);
    let of = "Intervals of join, plateau and optimum";
    match material.season.options.interval {
        IntervalMethod::Profile => format!(
            " {of} are {level} profile intervals, given the family: all values whose best curve has a residual sum of squares below the smallest times 1 + F ÷ \
             df, F the quantile of the F distribution with 1 and the error degrees of freedom."
        ),
        IntervalMethod::Wald => format!(
            " {of} are {level} Wald intervals, given the family: the estimate plus and minus t standard errors by the delta method."
        ),
        IntervalMethod::Fieller => format!(
            " {of} are {level} Fieller's sets {} where the quantity is a ratio of coefficients; others have none.",
            citations.cite(&[Reference::Fieller1954])
        ),
        IntervalMethod::Bootstrap(Bootstrap { resampling, limits, replicates, .. }) => {
            let resampled = match resampling {
                Resampling::Residuals => format!(
                    "residuals within blocks, scaled by their leverage {}",
                    citations.cite(&[Reference::DavisonHinkley1997])
                ),
                Resampling::Blocks => "whole blocks".to_owned(),
                Resampling::Wild => "residuals with a random sign".to_owned(),
            };
            let limits = match limits {
                BootstrapLimits::Percentile => "percentiles".to_owned(),
                BootstrapLimits::Bca => format!(
                    "percentiles corrected for bias and acceleration {}",
                    citations.cite(&[Reference::Efron1987])
                ),
            };
            format!(
                " {of} are {level} bootstrap intervals, given the family: {limits} of {replicates} resamples of {resampled}."
            )
        }
    }
}

pub(super) fn economics(material: &Material<'_>, citations: &mut Citations) -> Part {
    let optima = &material.reports.optima;
    let first = optima.groups.first()?;
    let unit = first.price_ratio_unit.as_deref().unwrap_or_default();
    let mut text = format!(
        "The economic optimum N rate (EONR) maximises net return, yield minus price ratio × N {}, at a price ratio of {} {unit}{}.",
        citations.cite(&[Reference::Pannell2006]),
        material.set(&price_ratio(first.price_ratio)),
        prices(material),
    );
    let others: Vec<String> =
        first.by_price.iter().skip(1).map(|at| material.set(&price_ratio(at.price_ratio))).collect();
    if !others.is_empty() {
        text += &format!(" It was also computed at {}.", and(&others));
    }
    text += " It was read from the best of the families that bend: a straight line has no optimum of its own, and a square root is infinitely steep at zero.";
    text += " No optimum is extrapolated beyond the tested rates: one that is not reached is a lower bound.";
    if optima.groups.iter().any(|group| group.near_optimum.is_some()) {
        text += &match material.season.programme.decisions.near_optimum_within {
            NearOptimumWithin::Percent(percent) => format!(
                " The near-optimum range holds the rates whose net return is within {} % of the best.",
                number(material, percent)
            ),
            NearOptimumWithin::Money(_) => {
                " The near-optimum range holds the rates whose net return is within a fixed amount of money of the best.".to_owned()
            }
        };
    }
    let economy = || optima.groups.iter().map(|group| &group.economy);
    if economy().any(|of| of.pass.is_some()) {
        text += " The cost of a pass moves no optimum; it decides between that rate and none.";
    }
    if let Some(draws) = economy().find_map(|of| of.uncertain_prices.as_ref()).map(|found| found.draws) {
        text +=
            &format!(" Uncertain prices were drawn {draws} times from their distributions, the curve taken as fitted.");
    }
    if economy().any(|of| of.with_quality.is_some()) {
        text += " Yields were also valued by the quality of their grain, yield × (1 + premium ÷ base price) × (1 − share lost to lodging), and analysed anew.";
    }
    Some(("Economics", text))
}

/// The prices that the ratio is of, where it is the programme's.
fn prices(material: &Material<'_>) -> String {
    let programme = &material.season.programme;
    let Some(prices) = programme.prices.as_ref().filter(|_| material.season.options.price_ratio.is_none()) else {
        return String::new();
    };
    format!(
        " ({} at {} {} per {}; N product of {} % N at {} {} per {})",
        programme.crop.name,
        number(material, prices.grain.price),
        programme.currency,
        prices.grain.per,
        number(material, prices.nitrogen.n_percent),
        number(material, prices.nitrogen.price),
        programme.currency,
        prices.nitrogen.per,
    )
}
