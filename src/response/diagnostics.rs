//! How well a fitted curve describes the observations: lack of fit, and what is notable about the residuals. Nothing is removed.

use super::curve::Curve;
use super::linearised;
use super::observations::Observations;
use crate::stats::distribution::{f_survival, t_two_sided};
use crate::stats::least_squares::Factor;
use crate::stats::shapiro_wilk::{ShapiroWilk, shapiro_wilk};
use crate::stats::spread::{SpreadTest, brown_forsythe};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A leverage this close to 1 leaves a residual of rounding only.
const ALL_LEVERAGE: f64 = 1e-10;

/// A curve against the treatment means.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LackOfFit {
    /// What the treatment means explain beyond the curve: RSS − pure error.
    pub ss: f64,
    /// Contrasts among rates minus the slopes of the family.
    pub df: usize,
    /// Degrees of freedom of the pure error.
    pub error_df: usize,
    /// (ss ÷ df) ÷ pure error mean square.
    pub f: f64,
    /// The probability of an F at least as large if the family is right.
    pub p: f64,
}

/// What the residuals of a curve show.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Diagnostics {
    /// Are the residuals normal? `None` where that cannot be tested.
    pub normality: Option<ShapiroWilk>,
    /// Do they spread alike at all rates? `None` where that cannot be tested.
    pub spread: Option<SpreadTest>,
    /// The observation that lies furthest from the curve; `None` where residuals have fewer than two degrees of freedom.
    pub furthest: Option<Furthest>,
    /// The observation with the largest leverage; `None` without observations.
    pub highest_leverage: Option<HighestLeverage>,
    /// One entry an observation, in their order.
    pub residuals: Vec<Residual>,
}

/// An observation against the curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Residual {
    /// Observed minus fitted, the mean of its group taken into account; of a treatment mean times √replicates.
    pub residual: f64,
    /// How far the fitted value follows the observation, 0 to 1: the diagonal of the projection on nuisance and curve, the latter by its
    /// derivatives.
    pub leverage: f64,
    /// residual ÷ (σ·√(1 − leverage)); `None` where the curve passes through the observation whatever its value.
    pub studentised: Option<f64>,
    /// The same with σ from the other observations, which then is Student's t; `None` too without degrees of freedom for it.
    pub deleted: Option<f64>,
}

/// The observation that lies furthest from the curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Furthest {
    /// Its position among the observations, from zero.
    pub index: usize,
    /// Its residual over its standard deviation, both without it.
    pub deleted: f64,
    /// The probability that the furthest of so many observations lies at least as far, at most: Bonferroni's bound.
    pub p: f64,
}

/// The observation with the largest leverage.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HighestLeverage {
    /// Its position among the observations, from zero.
    pub index: usize,
    /// Its leverage.
    pub leverage: f64,
    /// The mean leverage of all.
    pub mean: f64,
}

impl Observations {
    /// A curve against the treatment means: F = ((RSS − pure error) ÷ df) ÷ pure error mean square.
    ///
    /// `None` where there is no pure error, or the family has as many slopes as the rates have contrasts. For a family with a shape the
    /// F distribution is an approximation.
    pub fn lack_of_fit(&self, curve: &Curve) -> Option<LackOfFit> {
        let (error_df, pure_error) = (self.error_df(), self.reduced().pure_error());
        let df = curve.df.checked_sub(error_df).filter(|df| *df > 0)?;
        let mean_square = self.error_variance().filter(|_| !self.is_rounding(pure_error))?;
        let ss = (curve.rss - pure_error).max(0.0);
        let f = ss / df as f64 / mean_square;
        Some(LackOfFit { ss, df, error_df, f, p: f_survival(f, df as f64, error_df as f64)? })
    }

    /// What the residuals of a curve that was fitted to these observations show.
    ///
    /// `None` where the curve leaves no error, or no degrees of freedom. Normality is tested by Shapiro and Wilk, spread by Brown and
    /// Forsythe, and the furthest observation by its t with Bonferroni's bound (Cook & Weisberg 1982, from memory). For a family with a
    /// shape, leverage is that of the tangent at the estimate.
    pub fn diagnostics(&self, curve: &Curve) -> Option<Diagnostics> {
        let sigma = curve.sigma.filter(|sigma| *sigma > 0.0 && !self.is_rounding(curve.rss))?;
        let root = |row: usize| self.weights().and_then(|weights| weights.get(row)).map_or(1.0, |w| w.sqrt());
        let fitted = self.within_groups(|rate| curve.value(rate));
        let errors: Vec<f64> =
            self.centred().iter().zip(&fitted).enumerate().map(|(row, (y, f))| root(row) * (y - f)).collect();
        let df = curve.df as f64;
        let residual = |(residual, leverage): (&f64, f64)| {
            let left = 1.0 - leverage;
            let studentised = (left > ALL_LEVERAGE).then(|| residual / (sigma * left.sqrt()));
            let deleted = studentised.filter(|_| curve.df > 1).map(|r| {
                // A residual may hold all the error there is.
                r * ((df - 1.0) / (df - r * r).max(f64::MIN_POSITIVE)).sqrt()
            });
            Residual { residual: *residual, leverage, studentised, deleted: deleted.filter(|t| t.is_finite()) }
        };
        let residuals: Vec<Residual> = errors.iter().zip(self.leverages(curve)).map(residual).collect();
        Some(Diagnostics {
            normality: shapiro_wilk(&errors),
            spread: brown_forsythe(&errors, self.rate_of()),
            furthest: furthest(&residuals, df - 1.0),
            highest_leverage: highest_leverage(&residuals),
            residuals,
        })
    }

    /// A function of the rate at each observation, minus its mean over the observation's group.
    pub(super) fn within_groups(&self, of: impl Fn(f64) -> f64) -> Vec<f64> {
        let by_rate: Vec<f64> = self.rates().iter().map(|rate| of(*rate)).collect();
        let at = |row: &usize| by_rate.get(*row).copied().unwrap_or(0.0);
        let values: Vec<f64> = self.rate_of().iter().map(at).collect();
        let means = super::projection::means(&values, self.group_of(), self.group_sizes(), self.weights());
        let mean = |group: &usize| means.get(*group).copied().unwrap_or(0.0);
        values.iter().zip(self.group_of()).map(|(value, group)| value - mean(group)).collect()
    }

    /// The diagonal of the projection on groups and the tangent of the curve.
    pub(super) fn leverages(&self, curve: &Curve) -> Vec<f64> {
        let weight = |row: usize| self.weights().and_then(|weights| weights.get(row)).copied().unwrap_or(1.0);
        let column = |derivative: Box<dyn Fn(f64) -> f64>| -> Vec<f64> {
            let centred = self.within_groups(|rate| derivative(rate / self.highest_rate()));
            centred.iter().enumerate().map(|(row, value)| value * weight(row).sqrt()).collect()
        };
        let columns: Vec<Vec<f64>> = linearised::tangent(curve).into_iter().map(column).collect();
        let rows = self.group_of().len();
        let factor = Factor::new(&columns, rows).unwrap_or_else(|_| Factor::empty(rows));
        let of_groups = |(row, group): (usize, &usize)| {
            self.group_sizes().get(*group).map_or(0.0, |size| weight(row) / *size as f64)
        };
        let mut leverages: Vec<f64> = self.group_of().iter().enumerate().map(of_groups).collect();
        for column in factor.basis() {
            leverages.iter_mut().zip(column).for_each(|(leverage, q)| *leverage += q * q);
        }
        leverages.iter().map(|leverage| leverage.min(1.0)).collect()
    }
}

fn furthest(residuals: &[Residual], df: f64) -> Option<Furthest> {
    let deleted = residuals.iter().enumerate().filter_map(|(index, residual)| Some((index, residual.deleted?)));
    let (index, deleted) = deleted.reduce(|most, next| if next.1.abs() > most.1.abs() { next } else { most })?;
    let p = t_two_sided(deleted, df)? * residuals.len() as f64;
    Some(Furthest { index, deleted, p: p.min(1.0) })
}

fn highest_leverage(residuals: &[Residual]) -> Option<HighestLeverage> {
    let leverages = || residuals.iter().map(|residual| residual.leverage);
    let mean = leverages().sum::<f64>() / residuals.len() as f64;
    let (index, leverage) = leverages().enumerate().reduce(|most, next| if next.1 > most.1 { next } else { most })?;
    Some(HighestLeverage { index, leverage, mean })
}
