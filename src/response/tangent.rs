//! The derivatives of a fitted curve by its slopes and shape.

use super::curve::{Curve, Reach};
use super::family::Family;
use super::plateau::{Plateau, SAME_JOIN};
use super::{linear, quadratic};

/// The derivative of f(N) by one parameter other than the intercept, up to a factor, at rates divided by the highest.
pub(super) enum Derivative {
    /// Of a term that is linear in its parameter.
    Term(fn(f64) -> f64),
    /// Of a plateau family by its initial slope.
    Slope(Plateau, f64),
    /// Of a plateau family by its shape.
    Shape(Plateau, f64),
}

impl Derivative {
    pub fn at(&self, rate: f64) -> f64 {
        match self {
            Derivative::Term(term) => term(rate),
            Derivative::Slope(plateau, shape) => plateau.basis(rate, *shape),
            Derivative::Shape(plateau, shape) => plateau.basis_by_shape(rate, *shape),
        }
    }
}

/// One derivative a parameter. Where the data do not determine a shape, the derivatives depend on each other at the tested rates.
pub(super) fn derivatives(curve: &Curve) -> Vec<Derivative> {
    let terms = |basis: &[fn(f64) -> f64]| basis.iter().copied().map(Derivative::Term).collect();
    match curve.family {
        Family::Mean => Vec::new(),
        Family::Linear => terms(&linear::BASIS),
        Family::Quadratic => terms(&quadratic::BASIS),
        Family::LinearPlateau => of_plateau(curve, Plateau::Linear),
        Family::QuadraticPlateau => of_plateau(curve, Plateau::Quadratic),
    }
}

fn of_plateau(curve: &Curve, plateau: Plateau) -> Vec<Derivative> {
    let join = curve.implied_join().unwrap_or(f64::INFINITY) / curve.highest_rate;
    // A linear-plateau without a join inside the tested rates is a line there, whatever its join.
    let shape = if join.is_finite() { plateau.shape(join.max(SAME_JOIN)) } else { plateau.line() };
    match curve.reach {
        // Every join up to the second rate is the same curve at the tested rates.
        Some(Reach::BeforeFirstRate) => vec![Derivative::Slope(plateau, shape)],
        _ => vec![Derivative::Slope(plateau, shape), Derivative::Shape(plateau, shape)],
    }
}
