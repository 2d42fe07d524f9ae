//! A fitted curve as a linear model in its free parameters, for variances.
//!
//! The free parameters are the intercept, the factors of the columns on rates divided by the highest, and the shape. With the columns of
//! the derivatives, a change of the parameters changes the intercept by d(mean of the groups) − Σ mⱼ·dθⱼ, mⱼ the mean of column j over
//! the groups. So a quantity h has the variance, in units of the error variance,
//! `v₀·hₐ² + cᵀ(XᵀX)⁻¹c` with `cⱼ = hⱼ − hₐ·mⱼ`, v₀ that of the mean of the groups.

use super::curve::{Curve, Reach};
use super::exponential_rise;
use super::family::Family;
use super::method::Quantity;
use super::observations::Observations;
use super::plateau::{Plateau, SAME_JOIN};
use crate::stats::least_squares::{Factor, dot};

/// The parameters of a fitted curve besides its intercept, on rates divided by the highest.
#[derive(Clone, Copy, Debug)]
struct Parameters {
    family: Family,
    /// The factor of the first column.
    slope: f64,
    /// The factor of the second column, or the shape.
    second: f64,
    /// f(0), or of an exponential f at the lowest rate.
    base: f64,
    /// The lowest rate divided by the highest.
    lowest: f64,
    top: f64,
}

/// A quantity and its derivatives by the intercept and by the [`Parameters`].
#[derive(Clone, Copy, Debug)]
pub(super) struct Gradient {
    pub value: f64,
    intercept: f64,
    slope: f64,
    second: f64,
}

/// From which side a join that lies on a tested rate is left: a linear-plateau has a kink there, and its derivatives two values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// The join moves up: plots at it count as on the slope.
    Up,
    /// The join moves down: plots at it count as on the plateau.
    Down,
}

impl Parameters {
    fn of(curve: &Curve) -> Self {
        let (c, top) = (&curve.coefficients, curve.highest_rate);
        let line = c.slope.unwrap_or(0.0) * top;
        let curvature = c.curvature.unwrap_or(0.0) * top * top;
        let (slope, second) = match curve.family {
            Family::Mean | Family::Linear => (line, 0.0),
            Family::Quadratic => (line, curvature),
            Family::SquareRoot => (c.root.unwrap_or(0.0) * top.sqrt(), line),
            Family::LinearPlateau => (line, curve.implied_join().map_or(1.0, |join| (join / top).min(1.0))),
            Family::QuadraticPlateau => (line, -2.0 * curvature / line),
            Family::ExponentialRise => (curve.slope_at(curve.lowest_rate) * top, c.rate_constant.unwrap_or(0.0) * top),
        };
        let base = if curve.family == Family::ExponentialRise { curve.value(curve.lowest_rate) } else { c.intercept };
        Self { family: curve.family, slope, second, base, lowest: curve.lowest_rate / top, top }
    }

    /// The derivatives of the curve by its parameters, as functions of the rate.
    fn columns(self, side: Side) -> Vec<Box<dyn Fn(f64) -> f64>> {
        match self.family {
            Family::Mean => Vec::new(),
            Family::Linear => vec![Box::new(|rate| rate)],
            Family::Quadratic => vec![Box::new(|rate| rate), Box::new(|rate| rate * rate)],
            Family::SquareRoot => vec![Box::new(f64::sqrt), Box::new(|rate| rate)],
            Family::LinearPlateau => {
                // A hair off the join, so that a tested rate at it counts as on the wanted side.
                let beside = self.second * if side == Side::Up { 1.0 + SAME_JOIN } else { 1.0 - SAME_JOIN };
                self.plateau_columns(Plateau::Linear, beside)
            }
            Family::QuadraticPlateau => self.plateau_columns(Plateau::Quadratic, self.second),
            Family::ExponentialRise => self.plateau_columns(Plateau::Exponential, self.second),
        }
    }

    fn plateau_columns(self, plateau: Plateau, beside: f64) -> Vec<Box<dyn Fn(f64) -> f64>> {
        vec![
            Box::new(move |rate| plateau.basis(rate, self.second, self.lowest)),
            Box::new(move |rate| self.slope * plateau.basis_by_shape(rate, beside, self.lowest)),
        ]
    }

    /// A quantity as the family's formula gives it, wherever that lies; `None` where the family has no such quantity.
    fn gradient(self, quantity: Quantity) -> Option<Gradient> {
        let Self { family, slope: b, second, base, lowest, top } = self;
        let of_rates = |value: f64, slope: f64, second: f64| Gradient {
            value: value * top,
            intercept: 0.0,
            slope: slope * top,
            second: second * top,
        };
        let gradient = match (quantity, family) {
            // f(L) − b·(e^(kL) − 1)/k.
            (Quantity::Intercept, Family::ExponentialRise) => {
                let [back, back_by_shape] = exponential_rise::back(lowest, second);
                Gradient { value: base - b * back, intercept: 1.0, slope: -back, second: -b * back_by_shape }
            }
            (Quantity::Intercept, _) => Gradient { value: base, intercept: 1.0, slope: 0.0, second: 0.0 },
            (_, Family::Mean) => return None,
            (Quantity::Root, Family::SquareRoot) => {
                Gradient { value: b / top.sqrt(), intercept: 0.0, slope: 1.0 / top.sqrt(), second: 0.0 }
            }
            (Quantity::Slope, Family::SquareRoot) => {
                Gradient { value: second / top, intercept: 0.0, slope: 0.0, second: 1.0 / top }
            }
            // b·e^(kL)/k.
            (Quantity::Rise, Family::ExponentialRise) => {
                let by_slope = (second * lowest).exp() / second;
                let value = b * by_slope;
                Gradient { value, intercept: 0.0, slope: by_slope, second: value * (lowest - 1.0 / second) }
            }
            (Quantity::RateConstant, Family::ExponentialRise) => {
                Gradient { value: second / top, intercept: 0.0, slope: 0.0, second: 1.0 / top }
            }
            (Quantity::Slope, Family::ExponentialRise) if second > 0.0 => return None,
            (Quantity::Slope, _) => Gradient { value: b / top, intercept: 0.0, slope: 1.0 / top, second: 0.0 },
            (Quantity::Curvature, Family::Quadratic) => {
                let squared = top * top;
                Gradient { value: second / squared, intercept: 0.0, slope: 0.0, second: 1.0 / squared }
            }
            // c = −b·u/2.
            (Quantity::Curvature, Family::QuadraticPlateau) => {
                let half = -0.5 / (top * top);
                Gradient { value: half * b * second, intercept: 0.0, slope: half * second, second: half * b }
            }
            // a + b·J.
            (Quantity::Plateau, Family::LinearPlateau) => {
                Gradient { value: base + b * second, intercept: 1.0, slope: second, second: b }
            }
            // a + b/(2u).
            (Quantity::Plateau, Family::QuadraticPlateau) => {
                let half = 0.5 / second;
                Gradient { value: base + b * half, intercept: 1.0, slope: half, second: -b * half / second }
            }
            (Quantity::Join, Family::LinearPlateau) => of_rates(second, 0.0, 1.0),
            (Quantity::Join, Family::QuadraticPlateau) => of_rates(1.0 / second, 0.0, -1.0 / (second * second)),
            (Quantity::Optimum { slope_ratio }, Family::LinearPlateau) if b > slope_ratio * top => {
                of_rates(second, 0.0, 1.0)
            }
            // (r − b)/(2c).
            (Quantity::Optimum { slope_ratio }, Family::Quadratic) => {
                let value = 0.5 * (slope_ratio * top - b) / second;
                of_rates(value, -0.5 / second, -value / second)
            }
            // (1 − r/b)/u.
            (Quantity::Optimum { slope_ratio }, Family::QuadraticPlateau) => {
                let ratio = slope_ratio * top;
                let value = (1.0 - ratio / b) / second;
                of_rates(value, ratio / (b * b * second), -value / second)
            }
            // (b/(2(r − c)))², the top of a parabola in √N.
            (Quantity::Optimum { slope_ratio }, Family::SquareRoot) if b > 0.0 && slope_ratio * top > second => {
                let margin = slope_ratio * top - second;
                let root = 0.5 * b / margin;
                of_rates(root * root, root / margin, 2.0 * root * root / margin)
            }
            // L + ln(b/r)/k.
            (Quantity::Optimum { slope_ratio }, Family::ExponentialRise) if slope_ratio > 0.0 => {
                let steeper = (b / (slope_ratio * top)).ln();
                of_rates(lowest + steeper / second, 1.0 / (b * second), -steeper / (second * second))
            }
            _ => return None,
        };
        let numbers = [gradient.value, gradient.slope, gradient.second];
        numbers.iter().all(|number| number.is_finite()).then_some(gradient)
    }
}

/// The derivatives of a curve by its parameters other than the intercept, as functions of rates divided by the highest. Where every join
/// up to the second rate is the same curve at the tested rates, the join is no parameter.
pub(super) fn tangent(curve: &Curve) -> Vec<Box<dyn Fn(f64) -> f64>> {
    let mut columns = Parameters::of(curve).columns(Side::Up);
    if curve.reach == Some(Reach::BeforeFirstRate) {
        columns.truncate(1);
    }
    columns
}

/// The linear model of a curve from one side of its kink.
struct OneSide {
    factor: Factor,
    means: Vec<f64>,
}

/// A fitted curve as a linear model in its free parameters.
pub(super) struct Linearised {
    parameters: Parameters,
    /// One, or both sides of a kink: [`Side::Up`], [`Side::Down`].
    sides: Vec<OneSide>,
    mean_factor: f64,
    variance: f64,
}

impl Linearised {
    /// `None` without error degrees of freedom or noise.
    pub fn of(observations: &Observations, curve: &Curve) -> Option<Self> {
        if curve.df == 0 || observations.is_rounding(curve.rss) {
            return None;
        }
        let parameters = Parameters::of(curve);
        let near = |rate: &f64| (rate - parameters.second).abs() <= SAME_JOIN;
        let kink = curve.family == Family::LinearPlateau && observations.reduced().rates().iter().any(near);
        let sides: &[Side] = if kink { &[Side::Up, Side::Down] } else { &[Side::Up] };
        Some(Self {
            parameters,
            sides: sides.iter().map(|side| OneSide::new(observations, parameters, *side)).collect(),
            mean_factor: observations.mean_of_groups_factor(),
            variance: curve.rss / curve.df as f64,
        })
    }

    /// A quantity as the family's formula gives it, wherever that lies; `None` where the family has no such quantity.
    pub fn gradient(&self, quantity: Quantity) -> Option<Gradient> {
        self.parameters.gradient(quantity)
    }

    /// Whether the join lies on a tested rate, so that there are two sides.
    pub fn has_kink(&self) -> bool {
        self.sides.len() > 1
    }

    /// The standard error from every side; `None` for a side from which the plots do not determine the quantity.
    pub fn standard_errors(&self, gradient: &Gradient) -> Vec<Option<f64>> {
        let of_side = |side: &OneSide| {
            let by = [gradient.slope, gradient.second];
            let contrast: Vec<f64> =
                by.iter().zip(&side.means).map(|(by, mean)| by - gradient.intercept * mean).collect();
            let w = side.factor.whitened(&contrast)?;
            let factor = self.mean_factor * gradient.intercept * gradient.intercept + dot(&w, &w);
            Some((self.variance * factor).sqrt()).filter(|error| error.is_finite())
        };
        self.sides.iter().map(of_side).collect()
    }
}

impl OneSide {
    fn new(observations: &Observations, parameters: Parameters, side: Side) -> Self {
        let derivatives = parameters.columns(side);
        let reduced = observations.reduced();
        let columns: Vec<Vec<f64>> = derivatives.iter().map(|column| reduced.curve(column)).collect();
        // The columns are as long as z and finite; were one not, nothing would be determined.
        let factor = Factor::new(&columns, reduced.z().len()).unwrap_or_else(|_| Factor::empty(reduced.z().len()));
        let means = derivatives.iter().map(|column| observations.mean_of_curve(column)).collect();
        Self { factor, means }
    }
}
