//! Intervals of the join, the plateau and the optimum by whichever method is asked for: what it cannot give is not computed, with the
//! reason, and never comes from another method.

use super::curve::Curve;
use super::family::Family;
use super::method::{IntervalMethod, Quantity};
use super::observations::Observations;
use super::optimum::OptimumStatus;
use super::wald::{LINE, NEARS};
use crate::stats::interval::Interval;

const NOT_FIELLERS: &str = "Fieller's method is for an optimum that is a ratio of coefficients";

impl Observations {
    /// The interval of the join of a fitted plateau family, in the rate unit; its estimate is `None` where the data only bound it.
    pub fn join_by(&self, curve: &Curve, method: IntervalMethod, level: f64) -> Interval {
        match method {
            IntervalMethod::Profile => self.join_interval(curve, level),
            IntervalMethod::Wald => self.wald_reported(curve, Quantity::Join, curve.join, level),
            IntervalMethod::Fieller => Interval::refused(curve.join, level, method.name(), NOT_FIELLERS),
            IntervalMethod::Bootstrap(how) => self.bootstrap(curve, Quantity::Join, curve.join, &how, level),
        }
    }

    /// The interval of the plateau of a fitted plateau family, or of what an exponential nears, in yield units; its estimate is `None`
    /// where the plateau is not reached, or the exponential is a line.
    pub fn plateau_by(&self, curve: &Curve, method: IntervalMethod, level: f64) -> Interval {
        let estimate = curve.plateau();
        match method {
            IntervalMethod::Profile => self.plateau_interval(curve, level),
            IntervalMethod::Wald => self.wald_reported(curve, Quantity::Plateau, estimate, level),
            IntervalMethod::Fieller => Interval::refused(estimate, level, method.name(), NOT_FIELLERS),
            IntervalMethod::Bootstrap(how) => self.bootstrap(curve, Quantity::Plateau, estimate, &how, level),
        }
    }

    /// The interval of the agronomic optimum, the rate of the highest yield, in the rate unit; its estimate is `None` where the data only
    /// bound it.
    ///
    /// A family that rises or falls without end has none: its interval is not computed, with the reason.
    pub fn agronomic_optimum_by(&self, curve: &Curve, method: IntervalMethod, level: f64) -> Interval {
        match curve.family {
            Family::Linear => Interval::refused(None, level, method.name(), LINE),
            Family::ExponentialRise => Interval::refused(None, level, method.name(), NEARS),
            _ => {
                let optimum = self.optimum_by(curve, 0.0, method, level);
                let is_bound = optimum.status == OptimumStatus::AtHighestTestedRate;
                Interval { estimate: optimum.interval.estimate.filter(|_| !is_bound), ..optimum.interval }
            }
        }
    }
}
