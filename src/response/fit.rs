//! The one fitter.

use super::curve::{Coefficients, Curve, Fit, Reach};
use super::family::Family;
use super::observations::Observations;
use super::plateau::{Plateau, SAME_JOIN};
use super::reduced::{Match, Reduced};
use super::{exponential_rise, linear, linear_plateau, mean, quadratic, quadratic_plateau, square_root};
use crate::stats::least_squares::{Factor, dot};
use std::f64::consts::PI;

impl Observations {
    /// Fits one family by least squares, globally.
    ///
    /// Plateau families describe a rising response: of all joins with a positive slope the one with the smallest residual sum of
    /// squares is taken, over every stretch between two tested rates and beyond the top rate. A join at or beyond the top rate is
    /// [`Reach::NotReached`], one up to the second rate [`Reach::BeforeFirstRate`]. If the lowest tested rate is above zero, joins
    /// between it and the second rate fit alike too, and the intercept is an extrapolation.
    pub fn fit(&self, family: Family) -> Fit {
        let parameters = self.nuisance() + family.slopes();
        let refuse = |reason: String| Fit::NotEstimable { family, reason };
        if self.contrasts() < family.slopes() {
            let found = self.contrasts();
            return refuse(format!(
                "{} distinct rates are compared within groups; this family needs {}",
                found + 1,
                family.slopes() + 1
            ));
        }
        if family != Family::Mean && self.is_rounding(self.reduced().total()) {
            return refuse("the yields do not differ within groups".to_owned());
        }
        let Some(df) = self.n().checked_sub(parameters) else {
            return refuse(format!("{} observations for {parameters} parameters", self.n()));
        };
        let fitted = match Plateau::of(family) {
            Some(plateau) => self.fit_plateau(plateau),
            None => self.fit_terms(family),
        };
        match fitted {
            Ok(fitted) => Fit::Estimated(self.describe(family, parameters, df, fitted)),
            Err(reason) => refuse(reason.to_owned()),
        }
    }

    /// A family that is linear in all its parameters.
    fn fit_terms(&self, family: Family) -> Result<Fitted, &'static str> {
        let z = self.reduced().z();
        let factor = self.factor_of_terms(family);
        if factor.rank() < terms(family).len() {
            return Err("the rates compared within groups do not tell its terms apart");
        }
        let projected = factor.project(z);
        let residuals = factor.residuals(z, &projected);
        let rss = dot(&residuals, &residuals) + self.reduced().pure_error();
        Ok(self.terms_fitted(family, &factor.solve(&projected), rss, self.mean_of_groups()))
    }

    /// The projected terms of a family that is linear in all its parameters, factored.
    pub(super) fn factor_of_terms(&self, family: Family) -> Factor {
        let rows = self.reduced().z().len();
        let columns: Vec<Vec<f64>> = terms(family).iter().map(|g| self.reduced().curve(g)).collect();
        // The columns are as long as z and finite, so the factorisation is never refused.
        Factor::new(&columns, rows).unwrap_or_else(|_| Factor::empty(rows))
    }

    /// From the factors of the terms and the mean of the groups.
    pub(super) fn terms_fitted(&self, family: Family, solved: &[Option<f64>], rss: f64, mean: f64) -> Fitted {
        let slopes: Vec<f64> = solved.iter().map(|slope| slope.unwrap_or(0.0)).collect();
        let curve = |rate: f64| terms(family).iter().zip(&slopes).map(|(g, slope)| slope * g(rate)).sum();
        let intercept = mean - self.mean_of_curve(curve);
        let top = self.highest_rate();
        let coefficients = match (family, slopes.as_slice()) {
            (Family::Linear, [b]) => linear::coefficients(intercept, *b, top),
            (Family::Quadratic, [b, c]) => quadratic::coefficients(intercept, *b, *c, top),
            (Family::SquareRoot, [b, c]) => square_root::coefficients(intercept, *b, *c, top),
            _ => mean::coefficients(intercept),
        };
        Fitted { coefficients, rss, join: None, reach: None }
    }

    fn fit_plateau(&self, plateau: Plateau) -> Result<Fitted, &'static str> {
        let reduced = self.reduced();
        let Some((shape, found)) = best_rising(reduced, plateau) else {
            return Err("the best rising curve is the mean: these data show no rise to a plateau");
        };
        let (shape, found) = polish(reduced, plateau, shape, found);
        self.plateau_fitted(plateau, shape, found.slope, found.rss, self.mean_of_groups())
    }

    /// From the shape, the factor of its column, and the mean of the groups.
    pub(super) fn plateau_fitted(
        &self,
        plateau: Plateau,
        shape: f64,
        slope: f64,
        rss: f64,
        mean: f64,
    ) -> Result<Fitted, &'static str> {
        let reduced = self.reduced();
        let join = if plateau == Plateau::Exponential {
            plateau.join(shape)
        } else {
            snap(plateau.join(shape), reduced.rates())
        };
        let reach = if join <= plateau.alike_until(reduced) * (1.0 + SAME_JOIN) {
            Reach::BeforeFirstRate
        } else if join >= plateau.not_reached_from() * (1.0 - SAME_JOIN) {
            Reach::NotReached
        } else {
            Reach::WithinTestedRates
        };
        let (lowest, top) = (reduced.lowest(), self.highest_rate());
        // What the curve adds at a rate to its value at zero, or of an exponential at the lowest rate.
        let added = |rate: f64| slope * plateau.basis(rate, shape, lowest);
        let base = mean - self.mean_of_curve(added);
        let reached = reach != Reach::NotReached;
        let coefficients = match plateau {
            Plateau::Linear => linear_plateau::coefficients(base, slope, reached.then_some(join), top),
            Plateau::Quadratic => quadratic_plateau::coefficients(base, slope, shape, reached, top),
            Plateau::Exponential if shape * lowest > FARTHEST => {
                return Err(
                    "the curve rises so steeply at the lowest tested rate that nothing tells its value at rate 0",
                );
            }
            Plateau::Exponential => {
                exponential_rise::coefficients(base, slope, if reached { shape } else { 0.0 }, lowest, top)
            }
        };
        let determined = reach == Reach::WithinTestedRates && plateau != Plateau::Exponential;
        Ok(Fitted { coefficients, rss, join: determined.then(|| self.in_rate_unit(join)), reach: Some(reach) })
    }

    fn describe(&self, family: Family, parameters: usize, df: usize, fitted: Fitted) -> Curve {
        let Fitted { coefficients, rss, join, reach } = fitted;
        let n = self.n() as f64;
        let k = (parameters + 1) as f64;
        let total = self.reduced().total();
        let minus_twice_loglik =
            (!self.is_rounding(rss)).then(|| n * ((2.0 * PI).ln() + (rss / n).ln() + 1.0) - self.log_weights());
        let aic = minus_twice_loglik.map(|deviance| deviance + 2.0 * k);
        let spare = n - k - 1.0;
        Curve {
            family,
            coefficients,
            rss,
            df,
            sigma: (df > 0).then(|| (rss / df as f64).sqrt()),
            r_squared: (!self.is_rounding(total)).then(|| 1.0 - rss / total),
            aic,
            aicc: aic.filter(|_| spare > 0.0).map(|aic| aic + 2.0 * k * (k + 1.0) / spare),
            bic: minus_twice_loglik.map(|deviance| deviance + k * n.ln()),
            join,
            reach,
            lowest_rate: self.lowest_rate(),
            highest_rate: self.highest_rate(),
        }
    }
}

/// An exponential is carried back from the lowest tested rate to zero at most over so many times 1/k: beyond it the value at zero
/// would leave no digits to the values between tested rates.
const FARTHEST: f64 = 12.0;

/// The terms besides the intercept of a family that is linear in all its parameters; none for another.
fn terms(family: Family) -> &'static [fn(f64) -> f64] {
    match family {
        Family::Linear => &linear::BASIS,
        Family::Quadratic => &quadratic::BASIS,
        Family::SquareRoot => &square_root::BASIS,
        Family::Mean | Family::LinearPlateau | Family::QuadraticPlateau | Family::ExponentialRise => &mean::BASIS,
    }
}

/// What is known of a curve before it is described.
pub(super) struct Fitted {
    pub coefficients: Coefficients,
    pub rss: f64,
    pub join: Option<f64>,
    pub reach: Option<Reach>,
}

/// Two residual sums of squares are the same if they differ by less than this, relatively.
const ALIKE: f64 = 1e-12;

/// The shape with the smallest residual sum of squares among rising curves.
fn best_rising(reduced: &Reduced, plateau: Plateau) -> Option<(f64, Match)> {
    let mut best: Option<(f64, Match)> = None;
    let mut consider = |shape: f64| {
        let rising = plateau.match_shape(reduced, shape).filter(|found| found.slope > 0.0);
        if let Some(found) = rising
            && best.is_none_or(|(_, best)| found.rss < best.rss * (1.0 - ALIKE))
        {
            best = Some((shape, found));
        }
    };
    // Tested rates, and an exponential's line and step, come first: of two shapes that fit alike to rounding they stay, so that what is
    // said does not depend on the unit.
    plateau.candidates(reduced).into_iter().for_each(&mut consider);
    best
}

/// Gauss–Newton steps on slope and shape from the residuals themselves, as long as they fit better.
///
/// The stationary points come from differences of sums of squares; with little noise their last digits would be the largest error. Shapes
/// whose joins all fit alike are left as they are: among them only rounding fits better.
fn polish(reduced: &Reduced, plateau: Plateau, shape: f64, found: Match) -> (f64, Match) {
    let (mut shape, mut found) = (shape, found);
    for _ in 0..POLISHES {
        let x = plateau.column(reduced, shape);
        let by_shape = plateau.column_by_shape(reduced, shape);
        // Only the part of the derivative across the column moves the fit.
        let along = dot(&x, &by_shape) / found.norm;
        let across: Vec<f64> = by_shape.iter().zip(&x).map(|(d, x)| d - along * x).collect();
        let residuals = reduced.z().iter().zip(&x).map(|(z, x)| z - found.slope * x);
        let step = residuals.zip(&across).map(|(e, d)| e * d).sum::<f64>() / (found.slope * dot(&across, &across));
        let next = shape + step;
        let beyond = plateau.join(next) > plateau.alike_until(reduced);
        let near = step.is_finite() && next >= 0.0 && step.abs() <= NEAR * shape && beyond;
        match near.then(|| plateau.match_shape(reduced, next)).flatten() {
            Some(better) if better.rss < found.rss && better.slope > 0.0 => (shape, found) = (next, better),
            _ => break,
        }
    }
    (shape, found)
}

/// Steps that polish a shape: two are usual.
const POLISHES: usize = 8;

/// A shape is polished by less than this, relatively: a longer step would lead to another minimum.
const NEAR: f64 = 1e-3;

/// A join that differs from a tested rate by rounding alone is that rate.
fn snap(join: f64, rates: &[f64]) -> f64 {
    rates.iter().copied().find(|rate| (rate - join).abs() <= 4.0 * f64::EPSILON).unwrap_or(join)
}
