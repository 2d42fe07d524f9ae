//! N need as a function of the index.

use super::points::{Bound, NeedPoint};
use crate::stats::censored::{CensoredError, Response, fit};
use crate::trial::RelationKind;

/// A relation through the points of site-years.
#[derive(Clone, Debug, PartialEq)]
pub struct Relation {
    /// Its kind.
    pub kind: RelationKind,
    /// Coefficients of need = c₀ + c₁·index (+ c₂·index²), in the programme's rate unit.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the points about it, in the rate unit; it includes the points of one site-year as if independent.
    pub sigma: f64,
    /// Lowest and highest index of its points: beyond them it says nothing.
    pub domain: (f64, f64),
    /// Points whose need is a number.
    pub exact: usize,
    /// Points whose need is this or less.
    pub at_most: usize,
    /// Points whose need is this or more.
    pub at_least: usize,
}

/// Why there is no relation.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoRelation {
    /// No trial gives a point.
    #[error("no trial gives a calibration point")]
    NoPoints,
    /// The points do not determine it.
    #[error("{0}")]
    NotDetermined(#[from] CensoredError),
}

impl Relation {
    /// The relation of a kind through points, each with the same weight, by maximum likelihood: a need that is a bound enters as
    /// one. Under linear-with-floor a non-positive need enters as *zero or less*.
    ///
    /// # Errors
    /// [`NoRelation`] where the points do not determine it.
    pub fn fit<'a>(kind: RelationKind, points: impl IntoIterator<Item = &'a NeedPoint>) -> Result<Self, NoRelation> {
        let mut design = Vec::new();
        let mut needs = Vec::new();
        let mut domain = (f64::INFINITY, f64::NEG_INFINITY);
        for point in points {
            let index = point.index;
            domain = (domain.0.min(index), domain.1.max(index));
            design.push(match kind {
                RelationKind::Linear | RelationKind::LinearWithFloor => vec![1.0, index],
                RelationKind::Quadratic => vec![1.0, index, index * index],
            });
            needs.push(response(kind, point));
        }
        if design.is_empty() {
            return Err(NoRelation::NoPoints);
        }
        let fitted = fit(&design, &needs)?;
        Ok(Self {
            kind,
            coefficients: fitted.coefficients,
            sigma: fitted.sigma,
            domain,
            exact: fitted.exact,
            at_most: fitted.at_most,
            at_least: fitted.at_least,
        })
    }

    /// The need at an index, in the rate unit; negative where more is on than needed.
    #[must_use]
    pub fn need(&self, index: f64) -> f64 {
        self.coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * index + coefficient)
    }

    /// The rate that the rule gives at an index: the need, never below zero.
    #[must_use]
    pub fn rate(&self, index: f64) -> f64 {
        self.need(index).max(0.0)
    }
}

fn response(kind: RelationKind, point: &NeedPoint) -> Response {
    match point.bound {
        _ if kind == RelationKind::LinearWithFloor && point.need <= 0.0 && point.bound != Bound::AtLeast => {
            Response::AtMost(0.0)
        }
        Bound::Exact => Response::Exact(point.need),
        Bound::AtMost => Response::AtMost(point.need),
        Bound::AtLeast => Response::AtLeast(point.need),
    }
}
