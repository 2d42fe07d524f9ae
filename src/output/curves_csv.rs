//! Curves as a long table: a record a group and family.

use super::curves::{CurveGroup, Curves, FamilyCurve, reach_name};
use super::group::{factors, level_fields};
use super::long::{Long, number, text};
use crate::files::export::{Cell, Table};
use crate::stats::interval::Interval;

const GROUP: [&str; 10] = [
    "n",
    "excluded",
    "blocks",
    "error_stratum",
    "rate_unit",
    "yield_unit",
    "response",
    "p_value",
    "response_test",
    "chosen_by",
];
const CURVE: [&str; 23] = [
    "family",
    "chosen",
    "status",
    "reason",
    "intercept",
    "slope",
    "curvature",
    "root",
    "rise",
    "rate_constant",
    "rss",
    "df",
    "sigma",
    "r_squared",
    "aic",
    "aicc",
    "bic",
    "weight",
    "lack_of_fit_f",
    "lack_of_fit_df",
    "lack_of_fit_error_df",
    "lack_of_fit_p",
    "reach",
];
const STANDARD_ERRORS: [&str; 6] =
    ["se_intercept", "se_slope", "se_curvature", "se_root", "se_rise", "se_rate_constant"];
const INTERVALS: [&str; 17] = [
    "interval_level",
    "interval_method",
    "plateau",
    "plateau_low",
    "plateau_high",
    "plateau_limits",
    "se_plateau",
    "join",
    "join_low",
    "join_high",
    "join_limits",
    "se_join",
    "aonr",
    "aonr_low",
    "aonr_high",
    "aonr_limits",
    "se_aonr",
];

pub(super) fn table(curves: &Curves) -> Table {
    let factors = factors(curves.groups.iter().map(|group| &group.group));
    let columns = GROUP.into_iter().chain(CURVE).chain(STANDARD_ERRORS).chain(INTERVALS);
    let mut long = Long::new(factors.iter().map(String::as_str).chain(columns));
    for group in &curves.groups {
        for curve in &group.curves {
            let cells = of_group(group).into_iter().chain(of_curve(group, curve));
            let errors = standard_errors(curve).into_iter().chain(intervals(curve));
            long.row(level_fields(&group.group, &factors).into_iter().chain(cells).chain(errors));
        }
    }
    long.finish()
}

fn of_group(group: &CurveGroup) -> [Cell; 10] {
    [
        group.n.into(),
        group.excluded.into(),
        group.blocks.into(),
        group.error_stratum.into(),
        text(group.rate_unit.as_deref()),
        text(group.yield_unit.as_deref()),
        text(group.response),
        number(group.p_value),
        text(group.response_test),
        group.chosen_by.into(),
    ]
}

fn of_curve(group: &CurveGroup, curve: &FamilyCurve) -> [Cell; 23] {
    let lack_of_fit = curve.lack_of_fit;
    [
        curve.family.into(),
        if group.chosen == Some(curve.family) { "yes" } else { "no" }.into(),
        curve.status.into(),
        text(curve.reason.as_deref()),
        number(curve.coefficients.intercept),
        number(curve.coefficients.slope),
        number(curve.coefficients.curvature),
        number(curve.coefficients.root),
        number(curve.coefficients.rise),
        number(curve.coefficients.rate_constant),
        number(curve.rss),
        curve.df.into(),
        number(curve.sigma),
        number(curve.r_squared),
        number(curve.aic),
        number(curve.aicc),
        number(curve.bic),
        number(curve.weight),
        number(lack_of_fit.map(|test| test.f)),
        lack_of_fit.map(|test| test.df).into(),
        lack_of_fit.map(|test| test.error_df).into(),
        number(lack_of_fit.map(|test| test.p)),
        text(curve.reach.map(reach_name)),
    ]
}

fn standard_errors(curve: &FamilyCurve) -> [Cell; 6] {
    let errors = &curve.standard_errors;
    [errors.intercept, errors.slope, errors.curvature, errors.root, errors.rise, errors.rate_constant].map(number)
}

/// Plateau, join and AONR, each with its ends, which ends are known, and its standard error.
fn intervals(curve: &FamilyCurve) -> Vec<Cell> {
    let errors = &curve.standard_errors;
    let of = |interval: Option<&Interval>, error: Option<f64>| {
        let limits = interval.map(|interval| interval.limits.name());
        let [low, high] = [interval.and_then(|it| it.low), interval.and_then(|it| it.high)];
        [number(interval.and_then(|it| it.estimate)), number(low), number(high), text(limits), number(error)]
    };
    let any = [&curve.plateau, &curve.join, &curve.aonr].into_iter().find_map(Option::as_ref);
    let how = [number(any.map(|interval| interval.level)), text(any.map(|interval| interval.method.as_str()))];
    let plateau = of(curve.plateau.as_ref(), errors.plateau);
    let join = of(curve.join.as_ref(), errors.join);
    how.into_iter().chain(plateau).chain(join).chain(of(curve.aonr.as_ref(), errors.aonr)).collect()
}
