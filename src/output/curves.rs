//! Response curves: every family of every group, and which one stands for it.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::envelope::Report;
use super::group::{factors, group_object, level_fields};
use super::interval_words::limits_name;
use super::long::{Long, number, text};
use crate::experiment::{Fitted, FittedGroup, Response};
use crate::files::export::{Cell, Table};
use crate::response::{Curve, Family, Fit, Reach};
use crate::stats::interval::Interval;

/// The curves of every group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Curves {
    /// One entry a group.
    pub groups: Vec<CurveGroup>,
}

/// The curves of one group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CurveGroup {
    /// What tells it from the others.
    pub group: Map<String, Value>,
    /// Observations used.
    pub n: usize,
    /// Plots or rows of the group that are not used; see `left_out`.
    pub excluded: usize,
    /// Unit of rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of yields, where it is known.
    pub yield_unit: Option<String>,
    /// Blocks; 0 without.
    pub blocks: usize,
    /// What the error is made of.
    pub error_stratum: &'static str,
    /// `detected` or `not-detected`; `negligible` where prices are known and no gain that the data allow would pay; null where there
    /// is nothing to test against.
    pub response: Option<&'static str>,
    /// p of the permutation test of a rising response.
    pub p_value: Option<f64>,
    /// Permutations that were drawn.
    pub permutations: usize,
    /// Analysis of variance of the rates as they are.
    pub treatment: Option<Treatment>,
    /// Treatment means.
    pub means: Vec<Mean>,
    /// Plots or rows that are not used, with the reason.
    pub left_out: Vec<LeftOut>,
    /// One entry a family.
    pub curves: Vec<FamilyCurve>,
    /// The family that stands for the group; `mean` where no response is shown.
    pub chosen: Option<&'static str>,
    /// The criterion that chose it.
    pub chosen_by: &'static str,
}

/// The F test of the rates.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Treatment {
    /// Treatment mean square ÷ error mean square.
    pub f: Option<f64>,
    /// Degrees of freedom of the rates.
    pub df: usize,
    /// Degrees of freedom of the error.
    pub error_df: usize,
    /// Probability of an F at least as large.
    pub p: Option<f64>,
    /// Coefficient of variation, per cent.
    pub cv_percent: Option<f64>,
}

/// A treatment mean.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Mean {
    /// N rate.
    pub rate: f64,
    /// Observations.
    pub n: usize,
    /// Mean yield, adjusted for blocks where they are unbalanced.
    pub mean: f64,
    /// Its standard error.
    pub standard_error: Option<f64>,
}

/// A plot or row that is not used.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LeftOut {
    /// The plot, as typed, or the row.
    pub plot: String,
    /// Why.
    pub reason: String,
}

/// One family fitted to a group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FamilyCurve {
    /// Family.
    pub family: &'static str,
    /// `estimated` or `not-estimable`.
    pub status: &'static str,
    /// Why it is not estimable.
    pub reason: Option<String>,
    /// Coefficients of y = f(N).
    pub coefficients: Coefficients,
    /// Residual sum of squares, nuisance included.
    pub rss: Option<f64>,
    /// Residual degrees of freedom.
    pub df: Option<usize>,
    /// Residual standard deviation.
    pub sigma: Option<f64>,
    /// 1 − RSS ÷ RSS of the mean with the same nuisance.
    pub r_squared: Option<f64>,
    /// Akaike's criterion.
    pub aic: Option<f64>,
    /// Akaike's criterion, corrected for few observations.
    pub aicc: Option<f64>,
    /// Bayesian criterion.
    pub bic: Option<f64>,
    /// The join with its interval, for a family that has one.
    pub join: Option<Interval>,
    /// Where the join lies.
    pub reach: Option<Reach>,
}

/// Coefficients of y = f(N), N in the rate unit; null where the family has none or the data give none.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Coefficients {
    /// Yield at N = 0.
    pub intercept: Option<f64>,
    /// Slope at N = 0.
    pub slope: Option<f64>,
    /// Factor of N².
    pub curvature: Option<f64>,
    /// Yield beyond the join.
    pub plateau: Option<f64>,
}

impl Curves {
    /// The curves of groups, with intervals of the joins at a level. With a price ratio a response that is not detected may be
    /// *negligible*.
    pub fn of<'a>(groups: impl IntoIterator<Item = &'a FittedGroup>, level: f64, price_ratio: Option<f64>) -> Self {
        Self { groups: groups.into_iter().map(|group| CurveGroup::of(group, level, price_ratio)).collect() }
    }

    /// Whether any group has a curve.
    #[must_use]
    pub fn any(&self) -> bool {
        self.groups.iter().any(|group| group.curves.iter().any(FamilyCurve::is_estimated))
    }
}

impl CurveGroup {
    fn of(fitted_group: &FittedGroup, level: f64, price_ratio: Option<f64>) -> Self {
        let group = &fitted_group.group;
        let common = Self {
            group: group_object(&group.key),
            n: group.rates.len(),
            excluded: group.left_out.len(),
            rate_unit: group.rate_unit.clone(),
            yield_unit: group.yield_unit.clone(),
            blocks: group.block_count(),
            error_stratum: group.error_stratum.name(),
            response: None,
            p_value: None,
            permutations: 0,
            treatment: None,
            means: Vec::new(),
            left_out: group
                .left_out
                .iter()
                .map(|left_out| LeftOut { plot: left_out.plot.clone(), reason: left_out.reason.clone() })
                .collect(),
            curves: Vec::new(),
            chosen: None,
            chosen_by: "none-estimable",
        };
        match &fitted_group.outcome {
            Ok(fitted) => Self::fitted(common, fitted, level, price_ratio),
            Err(error) => {
                let refused = |family: Family| FamilyCurve::not_estimable(family, &error.to_string());
                Self { curves: Family::ALL.map(refused).to_vec(), ..common }
            }
        }
    }

    fn fitted(common: Self, fitted: &Fitted, level: f64, price_ratio: Option<f64>) -> Self {
        let chosen = fitted.chosen();
        let analysis = &fitted.analysis;
        let p_value = fitted.response.p;
        let priced = price_ratio.and_then(|ratio| fitted.chosen_optimum(ratio)).map(|(response, _)| response);
        let unpriced = if fitted.detected() { Response::Detected } else { Response::NotDetected };
        let mean = |mean: &crate::response::TreatmentMean| Mean {
            rate: mean.rate,
            n: mean.n,
            mean: mean.mean,
            standard_error: mean.standard_error,
        };
        Self {
            response: p_value.map(|_| priced.unwrap_or(unpriced).name()),
            p_value,
            permutations: fitted.response.permutations,
            treatment: Some(Treatment {
                f: analysis.f,
                df: analysis.treatment_df,
                error_df: analysis.error_df,
                p: analysis.p,
                cv_percent: analysis.cv_percent,
            }),
            means: fitted.means.iter().map(mean).collect(),
            curves: fitted.fits.iter().map(|fit| FamilyCurve::of(fit, fitted, level)).collect(),
            chosen: fitted.curve(chosen.family).map(|curve| curve.family.name()),
            chosen_by: chosen.by,
            ..common
        }
    }
}

impl FamilyCurve {
    fn of(fit: &Fit, fitted: &Fitted, level: f64) -> Self {
        match fit {
            Fit::Estimated(curve) => Self::estimated(curve, fitted, level),
            Fit::NotEstimable { family, reason } => Self::not_estimable(*family, reason),
        }
    }

    fn estimated(curve: &Curve, fitted: &Fitted, level: f64) -> Self {
        Self {
            family: curve.family.name(),
            status: "estimated",
            reason: None,
            coefficients: Coefficients {
                intercept: Some(curve.coefficients.intercept),
                slope: curve.coefficients.slope,
                curvature: curve.coefficients.curvature,
                plateau: curve.coefficients.plateau,
            },
            rss: Some(curve.rss),
            df: Some(curve.df),
            sigma: curve.sigma,
            r_squared: curve.r_squared,
            aic: curve.aic,
            aicc: curve.aicc,
            bic: curve.bic,
            join: curve.reach.map(|_| fitted.observations.join_interval(curve, level)),
            reach: curve.reach,
        }
    }

    fn not_estimable(family: Family, reason: &str) -> Self {
        Self {
            family: family.name(),
            status: "not-estimable",
            reason: Some(reason.to_owned()),
            coefficients: Coefficients::default(),
            rss: None,
            df: None,
            sigma: None,
            r_squared: None,
            aic: None,
            aicc: None,
            bic: None,
            join: None,
            reach: None,
        }
    }

    /// Whether there is a curve.
    #[must_use]
    pub fn is_estimated(&self) -> bool {
        self.reason.is_none()
    }
}

/// A reach as it is written.
pub(super) fn reach_name(reach: Reach) -> &'static str {
    match reach {
        Reach::WithinTestedRates => "within-tested-rates",
        Reach::NotReached => "not-reached",
        Reach::BeforeFirstRate => "before-first-rate",
    }
}

const COLUMNS: [&str; 30] = [
    "n",
    "excluded",
    "blocks",
    "error_stratum",
    "rate_unit",
    "yield_unit",
    "response",
    "p_value",
    "family",
    "chosen",
    "chosen_by",
    "status",
    "reason",
    "intercept",
    "slope",
    "curvature",
    "plateau",
    "rss",
    "df",
    "sigma",
    "r_squared",
    "aic",
    "aicc",
    "bic",
    "join",
    "join_low",
    "join_high",
    "join_level",
    "join_limits",
    "reach",
];

impl Report for Curves {
    const COMMAND: &'static str = "curves";

    fn text(&self) -> String {
        super::curves_text::text(self)
    }

    fn table(&self) -> Table {
        let factors = factors(self.groups.iter().map(|group| &group.group));
        let mut long = Long::new(factors.iter().map(String::as_str).chain(COLUMNS));
        for group in &self.groups {
            for curve in &group.curves {
                long.row(level_fields(&group.group, &factors).into_iter().chain(fields(group, curve)));
            }
        }
        long.finish()
    }
}

fn fields(group: &CurveGroup, curve: &FamilyCurve) -> [Cell; 30] {
    let join = curve.join.as_ref();
    [
        group.n.into(),
        group.excluded.into(),
        group.blocks.into(),
        group.error_stratum.into(),
        text(group.rate_unit.as_deref()),
        text(group.yield_unit.as_deref()),
        text(group.response),
        number(group.p_value),
        curve.family.into(),
        if group.chosen == Some(curve.family) { "yes" } else { "no" }.into(),
        group.chosen_by.into(),
        curve.status.into(),
        text(curve.reason.as_deref()),
        number(curve.coefficients.intercept),
        number(curve.coefficients.slope),
        number(curve.coefficients.curvature),
        number(curve.coefficients.plateau),
        number(curve.rss),
        curve.df.into(),
        number(curve.sigma),
        number(curve.r_squared),
        number(curve.aic),
        number(curve.aicc),
        number(curve.bic),
        number(join.and_then(|join| join.estimate)),
        number(join.and_then(|join| join.low)),
        number(join.and_then(|join| join.high)),
        number(join.map(|join| join.level)),
        text(join.map(|join| limits_name(join.limits))),
        text(curve.reach.map(reach_name)),
    ]
}
