//! Which curve? What speaks for and against the families of a group, and whether levels of a factor need curves of their own.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::group::group_object;
use crate::experiment::{FactorComparison, Fitted, ResponseGroup};
use crate::response::{Curve, CurvesTest, Family, NestedTest, OptimumStatus};
use crate::stats::shapiro_wilk::ShapiroWilk;
use crate::stats::spread::SpreadTest;

/// The N rate that a family says is best.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BestRate {
    /// The price ratio that it is best at; 0 for the agronomic optimum.
    pub price_ratio: f64,
    /// The rate, always within the tested range.
    pub rate: Option<f64>,
    /// What kind of rate it is.
    pub status: OptimumStatus,
}

impl BestRate {
    /// At a price ratio, or without one where the yield is highest: a line and an exponential
    /// rise have no such rate.
    pub(super) fn of(fitted: &Fitted, curve: &Curve, price_ratio: Option<f64>) -> Option<Self> {
        let never_highest = matches!(curve.family, Family::Linear | Family::ExponentialRise);
        if curve.family == Family::Mean || (price_ratio.is_none() && never_highest) {
            return None;
        }
        let price_ratio = price_ratio.unwrap_or(0.0);
        let optimum = fitted.observations.optimum(curve, price_ratio, fitted.level());
        Some(Self { price_ratio, rate: optimum.rate, status: optimum.status })
    }
}

/// What the residuals of the chosen curve show. Nothing is removed on their account.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Diagnostics {
    /// The family of the curve.
    pub family: &'static str,
    /// Shapiro and Wilk's test of normality; null where it cannot be made.
    pub normality: Option<ShapiroWilk>,
    /// Brown and Forsythe's test that residuals spread alike at all rates; null where it cannot be made.
    pub spread: Option<SpreadTest>,
    /// The observation furthest from the curve; null without degrees of freedom for it.
    pub furthest: Option<Furthest>,
    /// The observation with the largest leverage.
    pub highest_leverage: Option<HighestLeverage>,
    /// One entry an observation.
    pub residuals: Vec<Residual>,
}

/// The observation furthest from the curve.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Furthest {
    /// The observation.
    pub observation: String,
    /// Its N rate.
    pub rate: f64,
    /// Observed minus fitted, in yield units.
    pub residual: f64,
    /// The residual over its standard deviation, the error estimated without it.
    pub deleted: f64,
    /// The probability that the furthest of so many lies at least as far, at most (Bonferroni).
    pub p: f64,
}

/// The observation with the largest leverage.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct HighestLeverage {
    /// The observation.
    pub observation: String,
    /// Its leverage, 0 to 1.
    pub leverage: f64,
    /// The mean leverage of all.
    pub mean: f64,
}

/// An observation against the curve.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Residual {
    /// The observation.
    pub observation: String,
    /// Its N rate.
    pub rate: f64,
    /// Observed minus fitted, in yield units; of a treatment mean times the root of its replicates.
    pub residual: f64,
    /// How far the fitted value follows the observation, 0 to 1.
    pub leverage: f64,
    /// Over its standard deviation.
    pub studentised: Option<f64>,
    /// Over its standard deviation, the error estimated without it.
    pub deleted: Option<f64>,
}

impl Diagnostics {
    /// Of the curve of a family.
    pub(super) fn of(group: &ResponseGroup, fitted: &Fitted, family: Family) -> Option<Self> {
        let found = fitted.observations.diagnostics(fitted.curve(family)?)?;
        let name = |index: usize| group.names.get(index).cloned().unwrap_or_default();
        let rate = |index: usize| group.rates.get(index).copied().unwrap_or_default();
        let residual = |(index, residual): (usize, &crate::response::Residual)| Residual {
            observation: name(index),
            rate: rate(index),
            residual: residual.residual,
            leverage: residual.leverage,
            studentised: residual.studentised,
            deleted: residual.deleted,
        };
        let residuals: Vec<Residual> = found.residuals.iter().enumerate().map(residual).collect();
        let furthest = found.furthest.and_then(|furthest| {
            let residual = residuals.get(furthest.index)?;
            Some(Furthest {
                observation: residual.observation.clone(),
                rate: residual.rate,
                residual: residual.residual,
                deleted: furthest.deleted,
                p: furthest.p,
            })
        });
        let highest_leverage = found.highest_leverage.map(|highest| HighestLeverage {
            observation: name(highest.index),
            leverage: highest.leverage,
            mean: highest.mean,
        });
        Some(Self {
            family: family.name(),
            normality: found.normality,
            spread: found.spread,
            furthest,
            highest_leverage,
            residuals,
        })
    }
}

/// Whether the response differs between the levels of a factor.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FactorTests {
    /// What the groups that are compared have in common.
    pub group: Map<String, Value>,
    /// The factor.
    pub factor: String,
    /// Its levels.
    pub levels: Vec<String>,
    /// N rate × factor against the pure error; null where it cannot be tested.
    pub interaction: Option<NestedTest>,
    /// The family that describes all levels together best, each with a height of its own.
    pub common: Option<&'static str>,
    /// A curve for each level against one that differs between levels in its height alone, one entry a family.
    pub curves: Vec<CurvesTest>,
    /// Why levels cannot be compared.
    pub reason: Option<String>,
}

impl FactorTests {
    /// As they are written.
    pub(super) fn of(comparison: &FactorComparison) -> Self {
        let compared = comparison.outcome.as_ref();
        let found = compared.ok();
        Self {
            group: group_object(&comparison.key),
            factor: comparison.factor.clone(),
            levels: comparison.levels.clone(),
            interaction: found.and_then(|compared| compared.test.interaction),
            common: found.and_then(|compared| compared.common).map(|choice| choice.family.name()),
            curves: found.map(|compared| compared.test.curves.clone()).unwrap_or_default(),
            reason: compared.err().cloned(),
        }
    }
}
