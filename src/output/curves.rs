//! Response curves: every family of every group, and which one stands for it.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::envelope::Report;
use super::group::group_object;
use super::optimum::WithExcluded;
use super::which_curve::{BestRate, Diagnostics, FactorTests};
use crate::economics::Tolerance;
use crate::experiment::{Fitted, FittedGroup, Response, ResponseGroup, compare_factors};
use crate::files::export::Table;
use crate::response::{Curve, Disagreement, Family, Fit, LackOfFit, Reach, StandardErrors, Weights};
use crate::stats::interval::Interval;

/// The curves of every group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Curves {
    /// One entry a group.
    pub groups: Vec<CurveGroup>,
    /// Whether the response differs between levels: one entry for each factor that tells some of the groups apart.
    pub factor_tests: Vec<FactorTests>,
}

/// The curves of one group.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CurveGroup {
    /// What tells it from the others.
    pub group: Map<String, Value>,
    /// Observations used.
    pub n: usize,
    /// Plots behind them: more where they are treatment means.
    pub plots: usize,
    /// What an observation is where N lies on more than single plots, `main plot` or `strip`: it is then the mean of one; else null.
    pub observed_as: Option<&'static str>,
    /// The factor that those means are over, each of its levels alike; null where there is none.
    pub averaged_over: Option<String>,
    /// The factor that the curves are pooled over, each of its levels with a height of its own; null where there is none.
    pub pooled_over: Option<String>,
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
    /// p of the test of a response.
    pub p_value: Option<f64>,
    /// What p is of: `permutation` of a rising response, or `f` of the rates where the plots can be arranged in too few ways for a
    /// permutation test to detect anything; null where there is no p.
    pub response_test: Option<&'static str>,
    /// Why a response is not tested.
    pub untested: Option<String>,
    /// Arrangements of the plots that were looked at besides the observed one.
    pub permutations: usize,
    /// Whether those are all there are.
    pub exhaustive: bool,
    /// Analysis of variance of the rates as they are.
    pub treatment: Option<Treatment>,
    /// Treatment means.
    pub means: Vec<Mean>,
    /// Whether blocks connect the rates; where they do not, treatment means are plain means, differences between blocks included.
    pub rates_connected: bool,
    /// Plots or rows that are not used, with the reason.
    pub left_out: Vec<LeftOut>,
    /// What changes with the yields that are left out put back in; null where none is left out that was measured.
    pub with_excluded: Option<CurvesWithExcluded>,
    /// One entry a family.
    pub curves: Vec<FamilyCurve>,
    /// The family that stands for the group; `mean` where a response is tested and not shown.
    pub chosen: Option<&'static str>,
    /// The criterion that chose it.
    pub chosen_by: &'static str,
    /// Why none is chosen.
    pub reason: Option<String>,
    /// What families are weighed by: `aicc`, or `bic` where AICc is not defined for one of them; null where they have no weights.
    pub weighted_by: Option<&'static str>,
    /// What the residuals of the chosen curve show; null where it leaves no error.
    pub diagnostics: Option<Diagnostics>,
    /// How far families that fit about equally well disagree on the economic optimum; null where prices are not known, a response is
    /// not shown or one family stands out.
    pub disagreement: Option<Disagreement>,
}

/// What stands for a group with the yields that are left out put back in.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CurvesWithExcluded {
    /// Observations used.
    pub n: usize,
    /// Yields put back in.
    pub put_in: usize,
    /// As in the group.
    pub response: Option<&'static str>,
    /// As in the group.
    pub p_value: Option<f64>,
    /// The family that stands for the group.
    pub chosen: Option<&'static str>,
    /// The criterion that chose it.
    pub chosen_by: &'static str,
    /// Its coefficients.
    pub coefficients: Coefficients,
    /// Its optimum, where prices are known.
    pub optimum: Option<WithExcluded>,
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
    /// How much the family is worth beside the others that answer to N: exp(−½ × criterion above the smallest), over their sum.
    pub weight: Option<f64>,
    /// The curve against the treatment means; null where plots of one rate tell no error, or the curve takes as many parameters as there
    /// are treatments.
    pub lack_of_fit: Option<LackOfFit>,
    /// The economic optimum N rate where prices are known, else the agronomic one; null for a family without one.
    pub best_rate: Option<BestRate>,
    /// The join with its interval, for a family that has one.
    pub join: Option<Interval>,
    /// Where the join lies.
    pub reach: Option<Reach>,
    /// Standard errors of the coefficients, the join and the AONR.
    pub standard_errors: StandardErrors,
    /// The plateau, or what an exponential nears, with its interval; null for a family without one.
    pub plateau: Option<Interval>,
    /// The agronomic optimum N rate (AONR) with its interval; not computed, with the reason, for a family without one.
    pub aonr: Option<Interval>,
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
    /// Factor of √N.
    pub root: Option<f64>,
    /// Rise of an exponential from N = 0 to what it nears.
    pub rise: Option<f64>,
    /// k in the e^(−kN) of an exponential.
    pub rate_constant: Option<f64>,
}

impl Curves {
    /// The curves of groups, with intervals of the joins at a level. With a price ratio a response that is not detected may be
    /// *negligible*.
    pub fn of<'a>(groups: impl IntoIterator<Item = &'a FittedGroup>, level: f64, price_ratio: Option<f64>) -> Self {
        let fitted: Vec<&FittedGroup> = groups.into_iter().collect();
        Self {
            groups: fitted.iter().map(|group| CurveGroup::of(group, level, price_ratio)).collect(),
            factor_tests: compare_factors(fitted).iter().map(FactorTests::of).collect(),
        }
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
        let pooled_over = |with_heights: bool| {
            let pooled = group.pooled_over.as_ref().filter(|pooled| pooled.level_of.is_some() == with_heights);
            pooled.map(|pooled| pooled.factor.clone())
        };
        let common = Self {
            group: group_object(&group.key),
            n: group.rates.len(),
            plots: group.plots(),
            observed_as: group.error_stratum.observed_as(),
            averaged_over: pooled_over(false),
            pooled_over: pooled_over(true),
            excluded: group.left_out.len(),
            rate_unit: group.rate_unit.clone(),
            yield_unit: group.yield_unit.clone(),
            blocks: group.block_count(),
            error_stratum: group.error_stratum.name(),
            response: None,
            p_value: None,
            response_test: None,
            untested: None,
            permutations: 0,
            exhaustive: false,
            treatment: None,
            means: Vec::new(),
            rates_connected: true,
            left_out: group
                .left_out
                .iter()
                .map(|left_out| LeftOut { plot: left_out.plot.clone(), reason: left_out.reason.clone() })
                .collect(),
            with_excluded: CurvesWithExcluded::of(fitted_group, level, price_ratio),
            curves: Vec::new(),
            chosen: None,
            chosen_by: "none-chosen",
            reason: None,
            weighted_by: None,
            diagnostics: None,
            disagreement: None,
        };
        match &fitted_group.outcome {
            Ok(fitted) => Self::fitted(common, group, fitted, price_ratio),
            Err(error) => {
                let refused = |family: Family| FamilyCurve::not_estimable(family, &error.to_string());
                Self { curves: Family::ALL.map(refused).to_vec(), reason: Some(error.to_string()), ..common }
            }
        }
    }

    fn fitted(common: Self, group: &ResponseGroup, fitted: &Fitted, price_ratio: Option<f64>) -> Self {
        let weights = fitted.weights();
        let chosen = fitted.chosen();
        let (analysis, test) = (&fitted.analysis, &fitted.response);
        let unpriced = fitted.detected().map(|detected| match detected {
            true => Response::Detected,
            false => Response::NotDetected,
        });
        let priced = price_ratio.and_then(|ratio| fitted.chosen_optimum(ratio)).and_then(|(response, _)| response);
        let mean = |mean: &crate::response::TreatmentMean| Mean {
            rate: mean.rate,
            n: mean.n,
            mean: mean.mean,
            standard_error: mean.standard_error,
        };
        Self {
            response: priced.or(unpriced).map(Response::name),
            p_value: test.p,
            response_test: test.p.map(|_| test.by.name()),
            untested: test.untested.clone(),
            permutations: test.permutations,
            exhaustive: test.exhaustive,
            treatment: Some(Treatment {
                f: analysis.f,
                df: analysis.treatment_df,
                error_df: analysis.error_df,
                p: analysis.p,
                cv_percent: analysis.cv_percent,
            }),
            means: fitted.means.iter().map(mean).collect(),
            rates_connected: fitted.observations.rates_connected(),
            curves: fitted.fits.iter().map(|fit| FamilyCurve::of(fit, fitted, weights.as_ref(), price_ratio)).collect(),
            weighted_by: weights.as_ref().map(|weights| weights.by),
            diagnostics: chosen.and_then(|choice| Diagnostics::of(group, fitted, choice.family)),
            disagreement: price_ratio.and_then(|ratio| fitted.disagreement(ratio)),
            chosen: chosen.map(|choice| choice.family.name()),
            chosen_by: chosen.map_or(common.chosen_by, |choice| choice.by),
            reason: fitted.why_none_chosen().filter(|_| chosen.is_none()).map(str::to_owned),
            ..common
        }
    }
}

impl CurvesWithExcluded {
    fn of(fitted_group: &FittedGroup, level: f64, price_ratio: Option<f64>) -> Option<Self> {
        let refitted = fitted_group.with_excluded.as_deref()?;
        let group = CurveGroup::of(refitted, level, price_ratio);
        let chosen = group.curves.into_iter().find(|curve| group.chosen == Some(curve.family));
        // The optimum alone is asked for, and not the range of rates about as good.
        let tolerance = Tolerance::PercentOfNetReturn(0.0);
        Some(Self {
            n: group.n,
            put_in: fitted_group.group.left_out.len() - refitted.group.left_out.len(),
            response: group.response,
            p_value: group.p_value,
            chosen: group.chosen,
            chosen_by: group.chosen_by,
            coefficients: chosen.map(|curve| curve.coefficients).unwrap_or_default(),
            optimum: price_ratio.and_then(|ratio| WithExcluded::of(fitted_group, ratio, tolerance, level)),
        })
    }
}

impl FamilyCurve {
    fn of(fit: &Fit, fitted: &Fitted, weights: Option<&Weights>, price_ratio: Option<f64>) -> Self {
        match fit {
            Fit::Estimated(curve) => Self {
                weight: weights.and_then(|weights| weights.of(curve.family)),
                best_rate: BestRate::of(fitted, curve, price_ratio),
                ..Self::estimated(curve, fitted)
            },
            Fit::NotEstimable { family, reason } => Self::not_estimable(*family, reason),
        }
    }

    fn estimated(curve: &Curve, fitted: &Fitted) -> Self {
        Self {
            family: curve.family.name(),
            status: "estimated",
            reason: None,
            coefficients: Coefficients {
                intercept: Some(curve.coefficients.intercept),
                slope: curve.coefficients.slope,
                curvature: curve.coefficients.curvature,
                plateau: curve.coefficients.plateau,
                root: curve.coefficients.root,
                rise: curve.coefficients.rise,
                // Of a step it is only known to be large.
                rate_constant: curve.coefficients.rate_constant.filter(|_| curve.reach != Some(Reach::BeforeFirstRate)),
            },
            rss: Some(curve.rss),
            df: Some(curve.df),
            sigma: curve.sigma,
            r_squared: curve.r_squared,
            aic: curve.aic,
            aicc: curve.aicc,
            bic: curve.bic,
            weight: None,
            lack_of_fit: fitted.observations.lack_of_fit(curve),
            best_rate: None,
            join: curve.family.has_join().then(|| fitted.join(curve)),
            reach: curve.reach,
            standard_errors: fitted.observations.standard_errors(curve),
            plateau: curve.family.has_join().then(|| fitted.plateau(curve)),
            aonr: (curve.family != Family::Mean).then(|| fitted.agronomic_optimum(curve)),
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
            weight: None,
            lack_of_fit: None,
            best_rate: None,
            join: None,
            reach: None,
            standard_errors: StandardErrors::default(),
            plateau: None,
            aonr: None,
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

impl Report for Curves {
    const COMMAND: &'static str = "curves";

    fn text(&self) -> String {
        super::curves_text::text(self)
    }

    fn table(&self) -> Table {
        super::curves_csv::table(self)
    }
}
