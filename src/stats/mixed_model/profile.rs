//! Intervals of a variance by profile likelihood.

use super::design::Design;
use super::layout::Layout;
use super::point::Point;
use super::search::{Found, newton};
use super::{Likelihood, MixedModel};
use crate::stats::distribution::chi_square_quantile;
use crate::stats::interval::Interval;
use crate::stats::root::bracketed_root;
use std::cell::RefCell;

const METHOD: &str = "profile";
/// An end is found where the rise meets the cutoff to this share; its own digits are as many, or more.
const MET: f64 = 1e-10;
/// What may be left to gain where a criterion is compared with the cutoff.
const ENOUGH: f64 = 1e-12;
/// Doublings of a standard deviation after which an end counts as open.
const DOUBLINGS: usize = 40;
/// A factor at zero is started a little off it, in units of the response's spread: at zero itself every slope is level.
const OFF_ZERO: f64 = 1e-3;

/// Which variance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VarianceOf {
    /// That of a random coefficient.
    Coefficient {
        /// Position of the term.
        term: usize,
        /// Position of its column; 0 for a random intercept.
        column: usize,
    },
    /// A residual variance, by its position among [`MixedModel::residual`].
    Residual(usize),
}

impl MixedModel {
    /// The interval of a variance: those at which −2 log-likelihood, least over everything else, stays within the quantile of χ² with one
    /// degree of freedom of the least at all. In squared units of the response ÷ the column's.
    ///
    /// It profiles the likelihood that was maximised (R's lme4 profiles the unrestricted one always). A low end of 0 means that the data
    /// are in keeping with no variance. Not computed where there is no such variance or `level` is not between 0 and 1.
    pub fn profile(&self, of: VarianceOf, level: f64) -> Interval {
        let estimate = match of {
            VarianceOf::Coefficient { term, column } => {
                self.components.get(term).and_then(|term| term.covariance.get(column)?.get(column)).copied()
            }
            VarianceOf::Residual(group) => self.residual.get(group).map(|residual| residual.variance),
        };
        let cutoff = if level > 0.0 { chi_square_quantile(level, 1.0) } else { None };
        let (Some(estimate), Some(cutoff)) = (estimate, cutoff) else {
            return Interval::refused(estimate, level, METHOD, "there is no such variance or level");
        };
        let found = Profile::new(self, of).and_then(|profile| profile.ends(estimate, cutoff));
        match found {
            Some((low, high)) => Interval::between(Some(estimate), Some(low), high, level, METHOD),
            None => Interval::refused(Some(estimate), level, METHOD, "the likelihood could not be profiled"),
        }
    }
}

/// The criterion with one parameter held.
struct Profile {
    design: Design,
    likelihood: Likelihood,
    /// The parameter that is held: the first factor of its term, whose square is the variance, or the logarithm of a residual variance.
    held: usize,
    is_residual: bool,
    /// The variance in given units ÷ that in the design's.
    square: f64,
    least: Found,
    /// Where the last search ended, to start the next from.
    near: RefCell<Vec<f64>>,
}

impl Profile {
    fn new(model: &MixedModel, of: VarianceOf) -> Option<Self> {
        let first = match of {
            VarianceOf::Coefficient { term, column } => Some((term, column)),
            VarianceOf::Residual(_) => None,
        };
        // Only in a correlated term is a coefficient's variance a factor of its own when the coefficient comes first.
        let moved = first.filter(|(term, _)| model.design.layout.terms.get(*term).is_some_and(|term| term.correlated));
        let design = match moved {
            Some(_) => Design::new(&model.data, moved).ok()?,
            None => model.design.clone(),
        };
        let square = design.unit * design.unit;
        let (held, is_residual, square) = match of {
            VarianceOf::Residual(group) => (design.layout.residual(group), true, square),
            VarianceOf::Coefficient { term, column } => {
                let own = &design.layout.terms[term];
                let (position, parameter) = if own.correlated { (0, own.first) } else { (column, own.first + column) };
                (parameter, false, square * own.back.at(column, position).powi(2))
            }
        };
        let least = match moved {
            Some(_) => super::search::least(&design, model.likelihood)?,
            None => {
                let criterion = Point::new(&design, &model.psi)?.criterion(model.likelihood);
                Found { psi: model.psi.clone(), criterion, converged: model.converged }
            }
        };
        let near = RefCell::new(off_zero(&design.layout, least.psi.clone()));
        Some(Self { design, likelihood: model.likelihood, held, is_residual, square, least, near })
    }

    /// How far the criterion rises over its least at a standard deviation in the design's unit.
    fn rise(&self, deviation: f64) -> Option<f64> {
        let mut psi = self.near.borrow().clone();
        psi[self.held] = if self.is_residual { 2.0 * deviation.ln() } else { deviation };
        let found = newton(&self.design, self.likelihood, psi, Some(self.held), ENOUGH)?;
        *self.near.borrow_mut() = off_zero(&self.design.layout, found.psi);
        Some(found.criterion - self.least.criterion)
    }

    /// The two ends as variances in given units; the upper one `None` where it is open.
    fn ends(&self, estimate: f64, cutoff: f64) -> Option<(f64, Option<f64>)> {
        let best = (estimate / self.square).sqrt();
        // Square roots of the rise are nearly straight in the deviation, so that few steps lead to where it meets the cutoff.
        let above = |deviation: f64| {
            let over = self.rise(deviation).map_or(f64::NAN, |rise| rise.max(0.0).sqrt() - cutoff.sqrt());
            if over.abs() <= MET * cutoff.sqrt() { 0.0 } else { over }
        };
        let start = self.near.borrow().clone();
        let low = if best == 0.0 || (!self.is_residual && above(0.0) <= 0.0) {
            0.0
        } else {
            *self.near.borrow_mut() = start.clone();
            let mut inner = best;
            let mut outer = 0.5 * best;
            for _ in 0..DOUBLINGS {
                if above(outer) > 0.0 {
                    break;
                }
                (inner, outer) = (outer, 0.5 * outer);
            }
            bracketed_root(above, [outer, inner])?
        };
        *self.near.borrow_mut() = start;
        let mut inner = best;
        let mut outer = if best > 0.0 { 2.0 * best } else { self.smallest_residual() };
        for _ in 0..DOUBLINGS {
            if above(outer) > 0.0 {
                let high = bracketed_root(above, [inner, outer])?;
                return Some((low * low * self.square, Some(high * high * self.square)));
            }
            (inner, outer) = (outer, 2.0 * outer);
        }
        Some((low * low * self.square, None))
    }

    fn smallest_residual(&self) -> f64 {
        let variances = self.design.layout.residual_variances(&self.least.psi);
        0.1 * variances.into_iter().fold(f64::INFINITY, f64::min).sqrt()
    }
}

fn off_zero(layout: &Layout, mut psi: Vec<f64>) -> Vec<f64> {
    for (parameter, i, j) in layout.terms.iter().flat_map(|term| term.entries()) {
        if i == j && psi[parameter].abs() < OFF_ZERO {
            psi[parameter] = OFF_ZERO;
        }
    }
    psi
}
