//! Which family to report.

use super::curve::{Curve, Fit};
use super::family::Family;
use serde::Serialize;

/// Two criteria are the same if they differ by less than this, relatively: only rounding separates them.
const SAME_CRITERION: f64 = 1e-12;

/// A family and the criterion that chose it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// The family with the smallest criterion.
    pub family: Family,
    /// `aicc`; `bic` where AICc is undefined for any of the families; `exact-fit` for the simplest family that leaves no error.
    pub by: &'static str,
}

/// The estimated family, other than the mean, with the smallest AICc; by BIC where any of them has no AICc.
///
/// Families that fit without any error have no criterion: the simplest of them is taken, unless it has as many parameters as there are
/// observations, for then it would fit anything. All fits must be to the same observations with the same nuisance. Ties go to the
/// earlier fit. `None` where nothing was estimated or nothing is left to choose by. Whether there is a response at all is another
/// question: see [`response_test`](super::Observations::response_test); where none is detected the caller reports the mean.
pub fn choose(fits: &[Fit]) -> Option<Choice> {
    let curves = || fits.iter().filter_map(Fit::curve).filter(|curve| curve.family != Family::Mean);
    // Only a curve without error has no BIC.
    if let Some(exact) = curves().filter(|curve| curve.bic.is_none()).min_by_key(|curve| curve.family.slopes()) {
        return (exact.df > 0).then_some(Choice { family: exact.family, by: "exact-fit" });
    }
    if curves().all(|curve| curve.aicc.is_some()) {
        return smallest(curves(), |curve| curve.aicc, "aicc");
    }
    smallest(curves(), |curve| curve.bic, "bic")
}

fn smallest<'a>(
    curves: impl Iterator<Item = &'a Curve>,
    criterion: impl Fn(&Curve) -> Option<f64>,
    by: &'static str,
) -> Option<Choice> {
    let mut best: Option<(f64, Family)> = None;
    for curve in curves {
        let Some(found) = criterion(curve) else { continue };
        if best.is_none_or(|(least, _)| found < least - SAME_CRITERION * least.abs()) {
            best = Some((found, curve.family));
        }
    }
    best.map(|(_, family)| Choice { family, by })
}
