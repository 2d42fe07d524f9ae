//! Which family to report.

use super::curve::Fit;
use super::family::Family;
use serde::Serialize;

/// A family and the criterion that chose it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// The family with the smallest criterion.
    pub family: Family,
    /// `aicc`, or `bic` where AICc is undefined for any of the families.
    pub by: &'static str,
}

/// The estimated family, other than the mean, with the smallest AICc; by BIC where any of them has no AICc.
///
/// All fits must be to the same observations with the same nuisance. Ties go to the earlier fit. `None` where nothing was estimated
/// or no criterion is defined. Whether there is a response at all is another question: see
/// [`response_test`](super::Observations::response_test); where none is detected the caller reports the mean.
pub fn choose(fits: &[Fit]) -> Option<Choice> {
    let curves = || fits.iter().filter_map(Fit::curve).filter(|curve| curve.family != Family::Mean);
    if curves().all(|curve| curve.aicc.is_some()) {
        let best =
            curves().min_by(|a, b| a.aicc.unwrap_or(f64::INFINITY).total_cmp(&b.aicc.unwrap_or(f64::INFINITY)))?;
        return Some(Choice { family: best.family, by: "aicc" });
    }
    let best = curves()
        .filter(|curve| curve.bic.is_some())
        .min_by(|a, b| a.bic.unwrap_or(f64::INFINITY).total_cmp(&b.bic.unwrap_or(f64::INFINITY)))?;
    Some(Choice { family: best.family, by: "bic" })
}
