//! Net return of a rate, in yield units: f(N) − price ratio × N. Money is this times the price of a yield unit, and fixed costs move
//! no optimum (Pannell 2006).

use crate::response::{Curve, Family};
use crate::stats::polynomial;
use crate::stats::root::bracketed_root;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How much net return may be given up for a rate to count as near the optimum.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Tolerance {
    /// A percentage of the net return at the optimum; where that is not positive nothing may be given up.
    PercentOfNetReturn(f64),
    /// An amount in yield units.
    YieldUnits(f64),
}

/// The rates whose net return is within a tolerance of the best.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NearOptimum {
    /// The lowest such rate of the stretch around the optimum, in the rate unit, inside the tested range.
    pub low: f64,
    /// The highest such rate.
    pub high: f64,
    /// The net return that may be given up, in yield units.
    pub tolerance: f64,
}

/// Yield minus N, both in yield units: `ratio` is the price of a rate unit of N over the price of a yield unit.
pub fn net_return(curve: &Curve, rate: f64, ratio: f64) -> f64 {
    curve.value(rate) - ratio * rate
}

/// The net return that `rate` loses against the rate `best`, in yield units.
pub fn forgone_return(curve: &Curve, rate: f64, best: f64, ratio: f64) -> f64 {
    net_return(curve, best, ratio) - net_return(curve, rate, ratio)
}

/// The rates around `optimum`, between `lowest` and `highest`, whose net return is within `tolerance` of that at the optimum.
///
/// Where a family is a parabola or a line up to its join and level beyond, the ends are roots of quadratics; elsewhere they are
/// bracketed on either side of the rate where the slope equals the ratio. A tolerance that is negative or not a number counts as zero,
/// and then only the optimum itself is near.
pub fn near_optimum(
    curve: &Curve,
    optimum: f64,
    ratio: f64,
    tolerance: Tolerance,
    lowest: f64,
    highest: f64,
) -> NearOptimum {
    let best = net_return(curve, optimum, ratio);
    let allowed = match tolerance {
        Tolerance::PercentOfNetReturn(percent) => 0.01 * percent * best.max(0.0),
        Tolerance::YieldUnits(amount) => amount,
    };
    // NaN.max(0) is 0.
    let allowed = allowed.max(0.0);
    let crossings = crossings(curve, ratio, best - allowed, lowest, highest);
    let near = |rate: f64| net_return(curve, rate, ratio) >= best - allowed;
    // From the optimum outwards: over each crossing as long as the stretch behind it is near.
    let reach = |crossings: &mut dyn Iterator<Item = f64>, end: f64| {
        let mut reached = optimum;
        for next in crossings.chain([end]) {
            if !near(0.5 * (reached + next)) {
                break;
            }
            reached = next;
        }
        reached
    };
    let low = reach(&mut crossings.iter().rev().copied().filter(|rate| *rate < optimum), lowest);
    let high = reach(&mut crossings.iter().copied().filter(|rate| *rate > optimum), highest);
    NearOptimum { low, high, tolerance: allowed }
}

/// Where the net return equals `target`, ascending.
fn crossings(curve: &Curve, ratio: f64, target: f64, lowest: f64, highest: f64) -> Vec<f64> {
    if !is_made_of_parabolas(curve.family) {
        return crossings_by_slope(curve, ratio, target, lowest, highest);
    }
    let c = &curve.coefficients;
    let join = curve.implied_join().unwrap_or(f64::INFINITY).clamp(lowest, highest);
    let rising = [c.intercept - target, c.slope.unwrap_or(0.0) - ratio, c.curvature.unwrap_or(0.0)];
    let level = [curve.value(join) - target, -ratio];
    let mut crossings = polynomial::roots(&rising, lowest, join).as_slice().to_vec();
    crossings.extend(polynomial::roots(&level, join, highest).as_slice());
    crossings
}

/// Whether a curve of the family is a parabola or a line up to its join and level beyond.
fn is_made_of_parabolas(family: Family) -> bool {
    matches!(
        family,
        Family::Mean | Family::Linear | Family::Quadratic | Family::LinearPlateau | Family::QuadraticPlateau
    )
}

/// The same for a curve that bends one way throughout: its net return is monotone on either side of where the slope equals the ratio,
/// so a change of sign there brackets exactly one crossing.
fn crossings_by_slope(curve: &Curve, ratio: f64, target: f64, lowest: f64, highest: f64) -> Vec<f64> {
    let turn = bracketed_root(|rate| curve.slope_at(rate) - ratio, [lowest, highest]);
    let ends: Vec<f64> = [lowest].into_iter().chain(turn).chain([highest]).collect();
    let gap = |rate: f64| net_return(curve, rate, ratio) - target;
    ends.windows(2).filter_map(|ends| bracketed_root(gap, [*ends.first()?, *ends.last()?])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Observations;
    use approx::assert_relative_eq;

    fn curve(family: Family, yields: &[f64]) -> Curve {
        let rates: Vec<f64> = (0..yields.len()).map(|step| 40.0 * step as f64).collect();
        Observations::new(&rates, yields, None).unwrap().fit(family).curve().unwrap().clone()
    }

    #[test]
    fn the_near_range_ends_where_the_loss_equals_the_tolerance() {
        for family in [Family::Quadratic, Family::LinearPlateau, Family::QuadraticPlateau] {
            let curve = curve(family, &[40.0, 58.0, 69.0, 72.5, 72.0]);
            let ratio = 0.1;
            let best = (0..=1600).map(|step| 0.1 * f64::from(step));
            let best =
                best.max_by(|a, b| net_return(&curve, *a, ratio).total_cmp(&net_return(&curve, *b, ratio))).unwrap();
            let near = near_optimum(&curve, best, ratio, Tolerance::YieldUnits(2.0), 0.0, 160.0);
            assert!(near.low < best && best < near.high);
            assert_relative_eq!(forgone_return(&curve, near.low, best, ratio), 2.0, max_relative = 1e-9);
            if near.high < 160.0 {
                assert_relative_eq!(forgone_return(&curve, near.high, best, ratio), 2.0, max_relative = 1e-9);
            }
        }
    }

    #[test]
    fn the_bracketed_ends_are_those_of_the_polynomials() {
        for (family, yields) in [
            (Family::Quadratic, [40.0, 58.0, 69.0, 72.5, 72.0]),
            (Family::QuadraticPlateau, [40.0, 58.0, 69.0, 72.5, 72.0]),
            (Family::Quadratic, [60.0, 52.0, 48.0, 51.0, 60.5]),
            (Family::Quadratic, [72.0, 71.0, 69.0, 66.0, 60.0]),
        ] {
            let curve = curve(family, &yields);
            for (ratio, target) in [(0.0, 65.0), (0.1, 55.0), (0.1, 60.0), (0.3, 45.0), (0.02, 71.9)] {
                let exact = crossings(&curve, ratio, target, 0.0, 160.0);
                let bracketed = crossings_by_slope(&curve, ratio, target, 0.0, 160.0);
                assert_eq!(exact.len(), bracketed.len(), "{family} {ratio} {target}");
                for (exact, bracketed) in exact.iter().zip(&bracketed) {
                    // Near a turn a crossing carries half the digits of the net return.
                    assert_relative_eq!(exact, bracketed, max_relative = 1e-7);
                }
            }
        }
    }

    #[test]
    fn the_near_range_stays_inside_the_tested_rates() {
        let curve = curve(Family::Linear, &[40.0, 41.0, 42.0, 43.0]);
        let near = near_optimum(&curve, 120.0, 0.0, Tolerance::PercentOfNetReturn(50.0), 0.0, 120.0);
        assert_eq!((near.low, near.high), (0.0, 120.0));
        assert_relative_eq!(near.tolerance, 21.5, max_relative = 1e-12);
    }

    #[test]
    fn without_a_tolerance_only_the_optimum_is_near() {
        let curve = curve(Family::Linear, &[40.0, 41.0, 42.0, 43.0]);
        for tolerance in
            [Tolerance::YieldUnits(0.0), Tolerance::YieldUnits(-1.0), Tolerance::PercentOfNetReturn(f64::NAN)]
        {
            let near = near_optimum(&curve, 120.0, 0.0, tolerance, 0.0, 120.0);
            assert_eq!((near.low, near.high, near.tolerance), (120.0, 120.0, 0.0));
        }
    }
}
