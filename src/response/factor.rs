//! Whether the response differs between the levels of a factor.

use super::curve::{Curve, Fit};
use super::family::Family;
use super::observations::Observations;
use crate::stats::distribution::f_survival;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// An F test of what a larger model explains beyond a smaller one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NestedTest {
    /// What the larger model explains beyond the smaller.
    pub ss: f64,
    /// The parameters that it has more.
    pub df: usize,
    /// The residual sum of squares of the larger model.
    pub error_ss: f64,
    /// Its degrees of freedom.
    pub error_df: usize,
    /// (ss ÷ df) ÷ (error_ss ÷ error_df).
    pub f: f64,
    /// The probability of an F at least as large if the smaller model is right.
    pub p: f64,
}

/// One curve for all levels against a curve for each.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CurvesTest {
    /// The family of all of them.
    pub family: Family,
    /// The test; `None` where it cannot be made.
    pub test: Option<NestedTest>,
    /// Why it cannot be made, in words for a reader.
    pub reason: Option<String>,
}

/// Whether the response to the rate differs between levels.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FactorTest {
    /// Rate × factor against the pure error: do the differences between treatment means depend on the level, whatever the curve? `None`
    /// without error, or where the levels share fewer than two rates.
    pub interaction: Option<NestedTest>,
    /// One entry a family other than the mean: a curve for each level against one that differs between levels in its height alone.
    pub curves: Vec<CurvesTest>,
}

/// Tests whether the response differs between the levels of a factor.
///
/// `levels` are the observations of each level, with their blocks as nuisance; `pooled` all of them, with level × block as nuisance, so
/// that each level has a height of its own. The interaction compares treatment means, exactly. The test of curves is exact for families
/// that are linear in their parameters and an approximation for those with a shape; its error is what separate curves leave, so that a
/// family that fits badly tests little.
pub fn factor_test(pooled: &Observations, levels: &[Observations]) -> FactorTest {
    // A pooled error is that of the whole trial, and each level holds it.
    let repeats = levels.len().saturating_sub(1);
    let repeated = pooled.pooled_error().map_or((0.0, 0), |error| (error.sum_of_squares(), error.df));
    let without = move |ss: f64, df: usize| -> (f64, usize) {
        ((ss - repeats as f64 * repeated.0).max(0.0), df.saturating_sub(repeats * repeated.1))
    };
    let pure = |observations: &Observations| observations.reduced().pure_error();
    let (error_ss, error_df) = without(levels.iter().map(pure).sum(), levels.iter().map(Observations::error_df).sum());
    let noiseless = |error_ss: f64| pooled.is_rounding(error_ss);
    let interaction = nested((pure(pooled), pooled.error_df()), (error_ss, error_df), &noiseless);
    let curves = Family::ALL.into_iter().filter(|family| *family != Family::Mean).map(|family| {
        let outcome = separate(family, pooled, levels).and_then(|(common, separate)| {
            let larger =
                without(separate.iter().map(|curve| curve.rss).sum(), separate.iter().map(|curve| curve.df).sum());
            nested((common.rss, common.df), larger, &noiseless)
                .ok_or_else(|| "separate curves leave no error".to_owned())
        });
        let (test, reason) = match outcome {
            Ok(test) => (Some(test), None),
            Err(reason) => (None, Some(reason)),
        };
        CurvesTest { family, test, reason }
    });
    FactorTest { interaction, curves: curves.collect() }
}

/// The common curve and those of the levels.
fn separate(family: Family, pooled: &Observations, levels: &[Observations]) -> Result<(Curve, Vec<Curve>), String> {
    let curve = |fit: Fit, of: &str| match fit {
        Fit::Estimated(curve) => Ok(curve),
        Fit::NotEstimable { reason, .. } => Err(format!("not estimable for {of}: {reason}")),
    };
    let common = curve(pooled.fit(family), "all levels together")?;
    let one_level = |level: &Observations| curve(level.fit(family), "one of the levels");
    Ok((common, levels.iter().map(one_level).collect::<Result<_, _>>()?))
}

/// A smaller model against a larger one, each as its residual sum of squares and degrees of freedom.
fn nested(smaller: (f64, usize), larger: (f64, usize), noiseless: &dyn Fn(f64) -> bool) -> Option<NestedTest> {
    let (error_ss, error_df) = larger;
    let df = smaller.1.checked_sub(error_df).filter(|df| *df > 0)?;
    if error_df == 0 || noiseless(error_ss) {
        return None;
    }
    let ss = (smaller.0 - error_ss).max(0.0);
    let f = ss / df as f64 / (error_ss / error_df as f64);
    Some(NestedTest { ss, df, error_ss, error_df, f, p: f_survival(f, df as f64, error_df as f64)? })
}
