//! A fitted curve as a linear model in its free parameters, for variances.
//!
//! The free parameters are the base (the value at zero, or of an exponential at the lowest tested rate), the factors of the columns on
//! rates divided by the highest, and the shape. With the columns of the derivatives, a change of the parameters changes the base by
//! d(mean of the groups) − Σ mⱼ·dθⱼ, mⱼ the mean of column j over the groups. So a quantity h has the variance, in units of the error
//! variance, `v₀·hₐ² + cᵀ(XᵀX)⁻¹c` with `cⱼ = hⱼ − hₐ·mⱼ`, v₀ that of the mean of the groups and hₐ the derivative by the base.

use super::curve::{Curve, Reach};
use super::family::Family;
use super::gradient::{Gradient, Parameters};
use super::method::Quantity;
use super::observations::Observations;
use super::plateau::{Plateau, SAME_JOIN};
use super::{linear, quadratic, square_root};
use crate::stats::least_squares::{Factor, dot};

/// From which side a join that lies on a tested rate is left: a linear-plateau has a kink there, and its derivatives two values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    /// The join moves up: plots at it count as on the slope.
    Up,
    /// The join moves down: plots at it count as on the plateau.
    Down,
}

/// The derivatives of a curve by its parameters other than the intercept, as functions of rates divided by the highest. Where every join
/// up to the second rate is the same curve at the tested rates, the join is no parameter.
pub(super) fn tangent(curve: &Curve) -> Vec<Box<dyn Fn(f64) -> f64>> {
    let mut columns = derivatives(Parameters::of(curve), Side::Up);
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
            let contrast: Vec<f64> = by.iter().zip(&side.means).map(|(by, mean)| by - gradient.base * mean).collect();
            let w = side.factor.whitened(&contrast)?;
            let factor = self.mean_factor * gradient.base * gradient.base + dot(&w, &w);
            Some((self.variance * factor).sqrt()).filter(|error| error.is_finite())
        };
        self.sides.iter().map(of_side).collect()
    }
}

impl OneSide {
    fn new(observations: &Observations, parameters: Parameters, side: Side) -> Self {
        let reduced = observations.reduced();
        let derivatives = derivatives(parameters, side);
        let columns: Vec<Vec<f64>> = derivatives.iter().map(|column| reduced.curve(column)).collect();
        // The columns are as long as z and finite; were one not, nothing would be determined.
        let factor = Factor::new(&columns, reduced.z().len()).unwrap_or_else(|_| Factor::empty(reduced.z().len()));
        let means = derivatives.iter().map(|column| observations.mean_of_curve(column)).collect();
        Self { factor, means }
    }
}

/// The derivatives of the curve by its parameters besides the base, as functions of rates divided by the highest.
fn derivatives(parameters: Parameters, side: Side) -> Vec<Box<dyn Fn(f64) -> f64>> {
    let terms = |basis: &[fn(f64) -> f64]| -> Vec<Box<dyn Fn(f64) -> f64>> {
        basis.iter().map(|term| Box::new(*term) as Box<dyn Fn(f64) -> f64>).collect()
    };
    let Some(plateau) = Plateau::of(parameters.family) else {
        return match parameters.family {
            Family::Linear => terms(&linear::BASIS),
            Family::Quadratic => terms(&quadratic::BASIS),
            Family::SquareRoot => terms(&square_root::BASIS),
            Family::Mean | Family::LinearPlateau | Family::QuadraticPlateau | Family::ExponentialRise => Vec::new(),
        };
    };
    let Parameters { slope, second: shape, lowest, .. } = parameters;
    // A hair off the join of a linear-plateau, so that a tested rate at it counts as on the wanted side.
    let beside = match (plateau, side) {
        (Plateau::Linear, Side::Up) => shape * (1.0 + SAME_JOIN),
        (Plateau::Linear, Side::Down) => shape * (1.0 - SAME_JOIN),
        (Plateau::Quadratic | Plateau::Exponential, _) => shape,
    };
    vec![
        Box::new(move |rate| plateau.basis(rate, shape, lowest)),
        Box::new(move |rate| slope * plateau.basis_by_shape(rate, beside, lowest)),
    ]
}
