//! Properties of the fitter on trials of any shape, against plain dense searches with a full least-squares solve each.

use proptest::prelude::*;
use stook::response::{Curve, Family, Fit, Observations, OptimumStatus};
use stook::stats::distribution::f_quantile;
use stook::stats::interval::Interval;
use stook::stats::least_squares;

/// The exact fit may lose to a grid by rounding only.
const NO_WORSE: f64 = 1e-9;
/// Two orders of the same sums; the join sits on a flat profile, so its digits are half of theirs.
const ROUNDING: f64 = 1e-9;
const JOIN_ROUNDING: f64 = 1e-6;
pub const LEVEL: f64 = 0.95;
pub const PLATEAUS: [Family; 2] = [Family::LinearPlateau, Family::QuadraticPlateau];

#[derive(Clone, Debug)]
pub struct Trial {
    pub rates: Vec<f64>,
    pub yields: Vec<f64>,
    pub groups: Vec<usize>,
}

impl Trial {
    pub fn observations(&self) -> Observations {
        Observations::new(&self.rates, &self.yields, Some(&self.groups)).unwrap()
    }

    pub fn top(&self) -> f64 {
        self.rates.iter().copied().fold(0.0, f64::max)
    }

    /// The residual sum of squares and last coefficients of group means and `columns`, by a full solve.
    pub fn solve(&self, columns: &[Vec<f64>], yields: &[f64]) -> (f64, Vec<f64>) {
        let groups = self.groups.iter().max().unwrap() + 1;
        let indicator = |group| self.groups.iter().map(|g| f64::from(u8::from(*g == group))).collect();
        let mut all: Vec<Vec<f64>> = (0..groups).map(indicator).collect();
        all.extend(columns.iter().cloned());
        let solution = least_squares::solve(&all, yields).unwrap();
        (solution.rss, solution.coefficients[groups..].iter().map(|c| c.unwrap_or(0.0)).collect())
    }

    pub fn column(&self, g: impl Fn(f64) -> f64) -> Vec<f64> {
        self.rates.iter().map(|rate| g(*rate)).collect()
    }

    /// RSS and slope for a fixed join.
    pub fn at_join(&self, family: Family, join: f64) -> (f64, f64) {
        let (rss, slopes) = self.solve(&[self.column(|rate| basis(family, rate, join))], &self.yields);
        (rss, slopes[0])
    }

    /// RSS with every coefficient of `column` fixed at `factor`.
    fn with_fixed(&self, columns: &[(Vec<f64>, f64)], free: &[Vec<f64>]) -> (f64, Vec<f64>) {
        let mut left = self.yields.clone();
        for (column, factor) in columns {
            left.iter_mut().zip(column).for_each(|(y, x)| *y -= factor * x);
        }
        self.solve(free, &left)
    }
}

pub fn basis(family: Family, rate: f64, join: f64) -> f64 {
    let used = rate.min(join);
    match family {
        Family::LinearPlateau => used,
        _ => used - 0.5 * used * used / join,
    }
}

pub fn curve(observations: &Observations, family: Family) -> Option<Curve> {
    observations.fit(family).curve().cloned()
}

/// Randomised trials: 3–7 rates (the lowest zero or not), 1–4 blocks, some plots missing or doubled.
pub fn trials() -> impl Strategy<Value = Trial> {
    let steps = prop::collection::vec(10.0..60.0f64, 2..=6);
    let noise = prop::collection::vec(-1.0..1.0f64, 64);
    let counts = prop::collection::vec(0usize..=7, 64);
    (steps, any::<bool>(), 1usize..=4, noise, counts, 0.3..8.0f64, 0.1..1.5f64, -15.0..40.0f64).prop_filter_map(
        "rates must be compared within blocks with error left",
        |(steps, from_zero, blocks, noise, counts, spread, reach, rise)| {
            let first = if from_zero { 0.0 } else { steps[0] / 3.0 };
            let levels: Vec<f64> = std::iter::once(first)
                .chain(steps.iter().scan(first, |at, step| {
                    *at += step.round();
                    Some(*at)
                }))
                .collect();
            let join = reach * levels[levels.len() - 1];
            let mut trial = Trial { rates: Vec::new(), yields: Vec::new(), groups: Vec::new() };
            for block in 0..blocks {
                for (level, rate) in levels.iter().enumerate() {
                    let cell = block * levels.len() + level;
                    // Mostly one plot, sometimes none or two.
                    let plots = [0, 1, 1, 1, 1, 1, 1, 2][counts[cell]];
                    for plot in 0..plots {
                        let used = rate.min(join) / join;
                        let error = spread * noise[(cell + 31 * plot) % 64];
                        trial.rates.push(*rate);
                        trial.yields.push(50.0 + 3.0 * block as f64 + rise * (2.0 * used - used * used) + error);
                        trial.groups.push(block);
                    }
                }
            }
            // Blocks without plots are left out.
            let mut present = trial.groups.clone();
            present.dedup();
            trial.groups.iter_mut().for_each(|group| *group = present.iter().position(|p| p == group).unwrap());
            let observations = Observations::new(&trial.rates, &trial.yields, Some(&trial.groups)).ok()?;
            let full = observations.analysis();
            (full.treatment_df + 1 == levels.len() && full.error_df > 1).then_some(trial)
        },
    )
}

pub fn joins(trial: &Trial) -> Vec<f64> {
    let mut rates = trial.rates.clone();
    rates.sort_by(f64::total_cmp);
    rates.dedup();
    let (second, top) = (rates[1], rates[rates.len() - 1]);
    let inside = (0..=200).map(|step| second + (top - second) * f64::from(step) / 200.0);
    let beyond = (1..=100).map(|step| top * 100.0 / f64::from(step));
    inside.chain(beyond).chain(rates[1..].iter().copied()).collect()
}

/// By how much the digits of an exponential may fall short. Of a rise that begins at zero only e^(−kR) is left at the second rate R, so the
/// sum of squares is as flat in k: from kR of 7 on the best k and what follows from it at zero have fewer digits than are compared. 1 for
/// other families.
pub fn unknown(trial: &Trial, curve: &Curve) -> f64 {
    let lowest = trial.rates.iter().copied().fold(f64::INFINITY, f64::min);
    let second = trial.rates.iter().copied().filter(|rate| *rate > lowest).fold(f64::INFINITY, f64::min);
    curve.coefficients.rate_constant.map_or(1.0, |k| (1e-3 * (k * second).exp()).max(1.0))
}

pub fn cutoff(curve: &Curve) -> f64 {
    let df = curve.df as f64;
    curve.rss * (1.0 + f_quantile(LEVEL, 1.0, df).unwrap() / df)
}

pub fn holds(interval: &Interval, rate: f64) -> bool {
    let within =
        |[low, high]: &[Option<f64>; 2]| low.is_none_or(|low| low <= rate) && high.is_none_or(|high| rate <= high);
    interval.segments.iter().any(within)
}

/// Whether a number is so close to a cutoff that either answer is right.
pub fn undecided(rss: f64, cutoff: f64) -> bool {
    (rss / cutoff - 1.0).abs() < 1e-6
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_join_of_a_dense_grid_fits_better(trial in trials()) {
        for family in PLATEAUS {
            let rising = joins(&trial).into_iter().map(|join| trial.at_join(family, join)).filter(|(_, slope)| *slope > 1e-9);
            let grid = rising.map(|(rss, _)| rss).fold(f64::INFINITY, f64::min);
            match trial.observations().fit(family) {
                Fit::Estimated(curve) => prop_assert!(curve.rss <= grid * (1.0 + NO_WORSE), "{family} {} {grid}", curve.rss),
                Fit::NotEstimable { reason, .. } => prop_assert!(grid.is_infinite(), "{family} {reason} {grid}"),
            }
        }
    }

    #[test]
    fn the_reported_sum_of_squares_is_that_of_the_reported_curve(trial in trials()) {
        for family in Family::ALL {
            let observations = trial.observations();
            let Some(curve) = curve(&observations, family) else { continue };
            let (rss, _) = trial.with_fixed(&[(trial.column(|rate| curve.value(rate)), 1.0)], &[]);
            prop_assert!((rss - curve.rss).abs() <= ROUNDING * rss, "{family} {rss} {}", curve.rss);
        }
    }

    #[test]
    fn other_units_give_the_same_curve_in_those_units(trial in trials(), yield_unit in 0.01..100.0f64, rate_unit in 0.01..100.0f64) {
        let mut other = trial.clone();
        other.yields.iter_mut().for_each(|y| *y *= yield_unit);
        other.rates.iter_mut().for_each(|rate| *rate *= rate_unit);
        for family in Family::ALL {
            let (Some(a), Some(b)) = (curve(&trial.observations(), family), curve(&other.observations(), family)) else { continue };
            let near = |x: f64, y: f64, tolerance: f64| (x - y).abs() <= tolerance * x.abs().max(y.abs());
            prop_assert!(near(a.rss * yield_unit * yield_unit, b.rss, ROUNDING), "{family} {} {}", a.rss * yield_unit * yield_unit, b.rss);
            prop_assert!(near(a.value(trial.top() / 2.0) * yield_unit, b.value(other.top() / 2.0), JOIN_ROUNDING));
            prop_assert_eq!(a.reach, b.reach);
            if let (Some(x), Some(y)) = (a.join, b.join) {
                prop_assert!(near(x * rate_unit, y, JOIN_ROUNDING), "{} {}", x * rate_unit, y);
            }
            let (x, y) = (trial.observations().optimum(&a, 0.1, LEVEL), other.observations().optimum(&b, 0.1 * yield_unit / rate_unit, LEVEL));
            prop_assert_eq!(x.status, y.status);
            prop_assert_eq!(x.interval.limits, y.interval.limits, "{} {:?} {:?}", family, x, y);
        }
    }

    #[test]
    fn the_order_of_the_plots_does_not_matter(trial in trials(), turn in 1usize..20) {
        let mut other = trial.clone();
        let turn = turn % trial.rates.len();
        other.rates.rotate_left(turn);
        other.yields.rotate_left(turn);
        other.groups.rotate_left(turn);
        for family in Family::ALL {
            let (Some(a), Some(b)) = (curve(&trial.observations(), family), curve(&other.observations(), family)) else { continue };
            prop_assert!((a.rss - b.rss).abs() <= ROUNDING * a.rss);
            prop_assert!((a.value(trial.top()) - b.value(trial.top())).abs() <= JOIN_ROUNDING * a.value(trial.top()).abs());
        }
    }

    #[test]
    fn a_constant_on_a_block_moves_the_intercept_alone(trial in trials(), shift in -20.0..20.0f64) {
        let mut other = trial.clone();
        other.yields.iter_mut().zip(&trial.groups).for_each(|(y, group)| if *group == 0 { *y += shift });
        let groups = trial.observations().groups() as f64;
        for family in Family::ALL {
            let (Some(a), Some(b)) = (curve(&trial.observations(), family), curve(&other.observations(), family)) else { continue };
            prop_assert!((a.rss - b.rss).abs() <= ROUNDING * a.rss, "{family} {} {}", a.rss, b.rss);
            let moved = b.coefficients.intercept - a.coefficients.intercept;
            let tolerance = 1e-4 * unknown(&trial, &a);
            prop_assert!((moved - shift / groups).abs() < tolerance, "{family} moved {moved} not {}", shift / groups);
            // Beside tested rates: at a join that lies on one, rounding chooses the side.
            for rate in [0.0, 0.4142, 1.0].map(|share| share * trial.top()) {
                let (one, other) = (a.slope_at(rate), b.slope_at(rate));
                // A square root is infinitely steep at zero.
                prop_assert!(one == other || (other - one).abs() < tolerance, "{family} at {rate}: {one} {other}");
            }
        }
    }

    #[test]
    fn the_join_interval_holds_the_joins_under_the_cutoff_and_no_others(trial in trials()) {
        for family in PLATEAUS {
            let observations = trial.observations();
            let Some(curve) = curve(&observations, family) else { continue };
            let interval = observations.join_interval(&curve, LEVEL);
            for join in joins(&trial) {
                let (rss, _) = trial.at_join(family, join);
                if !undecided(rss, cutoff(&curve)) {
                    prop_assert_eq!(holds(&interval, join), rss <= cutoff(&curve), "{} join {} {:?}", family, join, interval);
                }
            }
        }
    }

    #[test]
    fn the_linear_plateaus_optimum_interval_holds_the_steep_joins_under_the_cutoff(trial in trials(), ratio in 0.0..0.5f64) {
        let observations = trial.observations();
        let Some(curve) = curve(&observations, Family::LinearPlateau) else { return Ok(()) };
        let interval = observations.optimum(&curve, ratio, LEVEL).interval;
        let mut zero = f64::INFINITY;
        for join in joins(&trial) {
            let column = trial.column(|rate| rate.min(join));
            let (free, slope) = trial.at_join(Family::LinearPlateau, join);
            let at = |slope: f64| trial.with_fixed(&[(column.clone(), slope)], &[]).0;
            let steep = if slope >= ratio { free } else { at(ratio) };
            let flat = at(slope.clamp(0.0, ratio));
            zero = zero.min(flat);
            if interval.low.is_none() && join <= observations.lowest_rate() {
                continue;
            }
            if !undecided(steep, cutoff(&curve)) {
                prop_assert_eq!(holds(&interval, join), steep <= cutoff(&curve), "join {} {:?}", join, interval);
            }
        }
        // The grid of joins is coarse: it can miss the best flat curve, but not add one.
        if zero <= cutoff(&curve) * (1.0 - 1e-6) {
            // Without a rate of 0 nothing tells 0 from the rates up to the lowest tested one.
            prop_assert_eq!(interval.low, Some(0.0).filter(|_| observations.lowest_rate() == 0.0));
        } else if zero > cutoff(&curve) * 1.01 {
            prop_assert_ne!(interval.low, Some(0.0));
        }
    }

    #[test]
    fn the_quadratics_optimum_interval_holds_the_concave_parabolas_under_the_cutoff(trial in trials(), ratio in 0.0..0.5f64) {
        let observations = trial.observations();
        let Some(curve) = curve(&observations, Family::Quadratic) else { return Ok(()) };
        let interval = observations.optimum(&curve, ratio, LEVEL).interval;
        let line = trial.column(|rate| rate);
        for step in 1..60 {
            let theta = trial.top() * f64::from(step) / 20.0;
            if interval.low.is_none() && theta <= observations.lowest_rate() {
                continue;
            }
            let bend = trial.column(|rate| rate * rate - 2.0 * theta * rate);
            let (free, curvature) = trial.with_fixed(&[(line.clone(), ratio)], &[bend]);
            let rss = if curvature[0] < 0.0 { free } else { trial.with_fixed(&[(line.clone(), ratio)], &[]).0 };
            if !undecided(rss, cutoff(&curve)) {
                prop_assert_eq!(holds(&interval, theta), rss <= cutoff(&curve), "{} {:?}", theta, interval);
            }
        }
    }

    #[test]
    fn the_quadratic_plateaus_optimum_interval_holds_the_rates_under_the_cutoff(trial in trials(), ratio in 0.01..0.5f64) {
        let observations = trial.observations();
        let Some(curve) = curve(&observations, Family::QuadraticPlateau) else { return Ok(()) };
        let interval = observations.optimum(&curve, ratio, LEVEL).interval;
        for step in (1..40).step_by(3) {
            let theta = trial.top() * f64::from(step) / 20.0;
            if interval.low.is_none() && theta <= observations.lowest_rate() {
                continue;
            }
            // A curve with slope `ratio` at θ and join θ + s is fixed but for s.
            let rss = |s: f64| {
                let join = theta + s;
                let column = trial.column(|rate| basis(Family::QuadraticPlateau, rate, join));
                trial.with_fixed(&[(column, ratio * join / s)], &[]).0
            };
            let at = |power: f64| rss(trial.top() * 10_f64.powf(power));
            // Every valley of the coarse grid is looked at closely: the lowest point of the grid need not lie in the deepest.
            let coarse: Vec<f64> = (-300..=133).map(|step| at(f64::from(step) / 33.0)).collect();
            let valleys = (1..coarse.len() - 1).filter(|i| coarse[*i] <= coarse[i - 1] && coarse[*i] <= coarse[i + 1]);
            let mut best = coarse.iter().copied().fold(f64::INFINITY, f64::min);
            for valley in valleys {
                let power = (valley as f64 - 300.0) / 33.0;
                best = (-50..=50).map(|step| at(power + f64::from(step) / 1500.0)).fold(best, f64::min);
            }
            // The grid over s is coarse: it can miss a rate that belongs, but not add one.
            if best <= cutoff(&curve) * (1.0 - 1e-6) {
                prop_assert!(holds(&interval, theta), "{} {:?}", theta, interval);
            } else if best > cutoff(&curve) * 1.01 {
                prop_assert!(!holds(&interval, theta), "{} {} {:?}", theta, best / cutoff(&curve), interval);
            }
        }
    }

    #[test]
    fn an_interior_optimum_lies_in_its_interval_and_in_the_tested_range(trial in trials(), ratio in 0.0..0.5f64) {
        for family in Family::ALL {
            let observations = trial.observations();
            let Some(curve) = curve(&observations, family) else { continue };
            let optimum = observations.optimum(&curve, ratio, LEVEL);
            let rate = optimum.rate.unwrap();
            prop_assert!((observations.lowest_rate()..=observations.highest_rate()).contains(&rate));
            if optimum.status == OptimumStatus::Interior {
                prop_assert!(holds(&optimum.interval, rate), "{} {:?}", family, optimum);
            }
            if optimum.status == OptimumStatus::BeforeFirstRate {
                continue;
            }
            let net = |rate: f64| curve.value(rate) - ratio * rate;
            for step in 0..=100 {
                let other = curve.lowest_rate + (curve.highest_rate - curve.lowest_rate) * f64::from(step) / 100.0;
                prop_assert!(net(other) <= net(rate) + 1e-9 * net(rate).abs(), "{family} {other} beats {rate}");
            }
        }
    }

    #[test]
    fn the_band_holds_every_curve_under_the_cutoff(trial in trials(), share in 0.0..1.0f64) {
        let observations = trial.observations();
        let at = observations.lowest_rate() + share * (observations.highest_rate() - observations.lowest_rate());
        for family in PLATEAUS {
            let Some(curve) = curve(&observations, family) else { continue };
            let band = observations.band(&curve, &[at], LEVEL)[0];
            prop_assert!(band.low.unwrap() <= band.value && band.value <= band.high.unwrap());
            for join in joins(&trial).into_iter().step_by(10) {
                let (rss, slope) = trial.at_join(family, join);
                if rss > cutoff(&curve) {
                    continue;
                }
                // The curve of this join through the means of the blocks.
                let groups = observations.groups();
                let mean = |group: usize, of: &dyn Fn(usize) -> f64| {
                    let members: Vec<usize> = (0..trial.rates.len()).filter(|i| trial.groups[*i] == group).collect();
                    members.iter().map(|i| of(*i)).sum::<f64>() / members.len() as f64
                };
                let intercept = (0..groups)
                    .map(|group| mean(group, &|i| trial.yields[i] - slope * basis(family, trial.rates[i], join)))
                    .sum::<f64>() / groups as f64;
                let value = intercept + slope * basis(family, at, join);
                // The grid of joins inside the band is finite, so its edge may miss a little of the width.
                let slack = 0.02 * (band.high.unwrap() - band.low.unwrap());
                prop_assert!(band.low.unwrap() - slack <= value && value <= band.high.unwrap() + slack, "{family} {join} {value} {band:?}");
            }
        }
    }
}
