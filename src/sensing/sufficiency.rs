//! Is the N-rich reference truly sufficient: by its reading and, where it is harvested, by its yield?
//!
//! Two things speak against it: plots with other N that read (or yield) more, and a response that still rises at it. The first is judged by
//! Dunnett's test of every level against the reference, blocks removed. For the second, where a response is concave no further N adds more
//! than the last step did; and a quadratic-plateau fitted to the plots shows where the plateau begins.

use super::level_fit::{Contrast, LevelFit, METHOD, Unit};
use crate::response::{Family, Fit, IntervalMethod, Observations, Reach};
use crate::stats::dunnett::{dunnett_quantile, dunnett_survival};
use crate::stats::interval::{Interval, Limits};
use crate::stats::levels::level_indices;

/// Within this share of the reference nothing is short of it: a row of a table is commonly that high (common practice).
pub const MARGIN: f64 = 0.05;
/// A level is above the reference where it is so by this share, and by more than chance.
const ABOVE: f64 = 0.02;

/// A verdict on a reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// The plots show that it is.
    Sufficient,
    /// They show neither.
    CannotTell,
    /// They show that it is not, or may well not be.
    Doubtful,
}

impl Verdict {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Sufficient => "sufficient",
            Self::CannotTell => "cannot-tell",
            Self::Doubtful => "doubtful",
        }
    }
}

/// Why a verdict fell as it did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Because {
    /// No plots to compare with, or no error to compare against.
    NothingToCompare,
    /// A level with other N lies above the reference.
    LevelAbove,
    /// More N lies above the reference: it ran short.
    MoreNAbove,
    /// Less N lies above the reference: what it lost, it lost to too much.
    LessNAbove,
    /// No level is shown to lie above, and the last step of N adds at most the margin.
    LastStepSmall,
    /// The plateau begins at or below its N.
    PlateauReached,
    /// No other level lies above it by more than the margin.
    NoneAbove,
    /// The response still rises at its N.
    StillRising,
    /// Neither is shown.
    NotShown,
}

/// A reference against the levels of N beside it.
#[derive(Clone, Debug, PartialEq)]
pub struct AgainstLevels {
    /// What can be said.
    pub verdict: Verdict,
    /// Why.
    pub because: Because,
    /// Mean of the reference, in the units of the readings or yields.
    pub reference: f64,
    /// N on it, in the rate unit; `None` where there is nothing to compare.
    pub reference_n: Option<f64>,
    /// N of the level that lies highest, in the rate unit; `None` where there is none to compare.
    pub highest_n: Option<f64>,
    /// That level minus the reference, per cent of the reference, with limits that hold for all levels together (Dunnett).
    pub highest_minus_reference: Option<Interval>,
    /// Dunnett's p of that difference.
    pub p: Option<f64>,
    /// N of the next level below the reference, and the reference minus it, per cent of the reference; `None` where the levels
    /// differ in more than the N on.
    pub last_step: Option<(f64, Interval)>,
    /// N at which the plateau begins, with its profile interval.
    pub plateau_from: Option<Interval>,
}

impl AgainstLevels {
    fn nothing(reference: f64) -> Self {
        Self {
            verdict: Verdict::CannotTell,
            because: Because::NothingToCompare,
            reference,
            reference_n: None,
            highest_n: None,
            highest_minus_reference: None,
            p: None,
            last_step: None,
            plateau_from: None,
        }
    }

    /// Compares the reference units with the others. `one_curve`: whether the levels are one response to N, so that last step and plateau
    /// mean something. `of_yields`: with less N a yield may be higher because N lodged the crop.
    pub(super) fn of(units: &[Unit<'_>], one_curve: bool, of_yields: bool, level: f64) -> Option<Self> {
        let rich: Vec<f64> = units.iter().filter(|unit| unit.is_reference).map(|unit| unit.value).collect();
        let reference = rich.iter().sum::<f64>() / rich.len() as f64;
        if rich.is_empty() || reference <= 0.0 {
            return None;
        }
        let nothing = Self::nothing(reference);
        let Some(fit) = LevelFit::of(units) else { return Some(nothing) };
        // References at several rates of N: the highest is the one that is judged.
        let Some(own) = fit.levels.iter().rposition(|level| level.is_reference) else { return Some(nothing) };
        let compared = compared(&fit, own);
        let Some((highest, difference)) = compared.iter().max_by(|a, b| a.1.estimate.total_cmp(&b.1.estimate)) else {
            return Some(nothing);
        };
        let lambdas: Vec<f64> = compared.iter().filter_map(|(other, _)| lambda(&fit, *other, own)).collect();
        let df = fit.df() as f64;
        let scale = 100.0 / reference;
        let p = dunnett_survival(difference.t().abs(), &lambdas, df);
        let half = dunnett_quantile(level, &lambdas, df).map(|t| t * difference.standard_error);
        let simultaneous = half.map_or_else(
            || Interval::not_computed(Some(difference.estimate * scale), level, "dunnett"),
            |half| {
                let [low, high] = [difference.estimate - half, difference.estimate + half].map(|end| Some(end * scale));
                Interval::between(Some(difference.estimate * scale), low, high, level, "dunnett")
            },
        );
        let of_level = |position: usize| fit.levels.get(position).copied();
        let (own_n, highest_n) = (of_level(own)?.n, of_level(*highest)?.n);
        let is_above = difference.estimate > ABOVE * reference && p.is_some_and(|p| p <= 1.0 - level);
        let below = (0..own).rev().find(|position| of_level(*position).is_some_and(|level| level.n < own_n));
        let last_step = below.filter(|_| one_curve).and_then(|below| {
            let step = fit.difference(own, below)?;
            Some((of_level(below)?.n, step.interval(level, scale)))
        });
        let plateau = one_curve.then(|| plateau(units, level)).flatten();
        let within = |interval: &Interval| interval.high.is_some_and(|high| high <= 100.0 * MARGIN);
        let (verdict, because) = if is_above && of_yields {
            if highest_n > own_n {
                (Verdict::Doubtful, Because::MoreNAbove)
            } else {
                (Verdict::Sufficient, Because::LessNAbove)
            }
        } else if is_above {
            (Verdict::Doubtful, Because::LevelAbove)
        } else if last_step.as_ref().is_some_and(|(_, step)| within(step)) {
            (Verdict::Sufficient, Because::LastStepSmall)
        } else if let Some((_, from)) = plateau.as_ref().filter(|(reach, _)| *reach != Reach::NotReached)
            && matches!(from.limits, Limits::Both | Limits::OpenBelow)
            && from.high.is_some_and(|high| high <= own_n)
        {
            (Verdict::Sufficient, Because::PlateauReached)
        } else if !one_curve && within(&simultaneous) {
            (Verdict::Sufficient, Because::NoneAbove)
        } else if plateau.as_ref().is_some_and(|(reach, _)| *reach == Reach::NotReached)
            && last_step.as_ref().is_some_and(|(_, step)| step.low.is_some_and(|low| low > 0.0))
        {
            (Verdict::Doubtful, Because::StillRising)
        } else {
            (Verdict::CannotTell, Because::NotShown)
        };
        Some(Self {
            verdict,
            because,
            reference,
            reference_n: Some(own_n),
            highest_n: Some(highest_n),
            highest_minus_reference: Some(simultaneous),
            p,
            last_step,
            plateau_from: plateau.map(|(_, from)| from),
        })
    }
}

/// Every other level minus the reference.
fn compared(fit: &LevelFit, own: usize) -> Vec<(usize, Contrast)> {
    let others = (0..fit.levels.len()).filter(|position| *position != own);
    others
        .filter_map(|other| Some((other, fit.difference(other, own)?)))
        .filter(|(_, difference)| difference.standard_error > 0.0)
        .collect()
}

/// λ = √(n ÷ (n + n₀)) of a level with n units against the reference with n₀.
fn lambda(fit: &LevelFit, other: usize, own: usize) -> Option<f64> {
    let [n, reference] = [other, own].map(|position| fit.levels.get(position).map(|level| level.units as f64));
    Some((n? / (n? + reference?)).sqrt())
}

/// Where the plateau of a quadratic-plateau begins; `None` where the values do not rise with N, by more than chance (F test of the levels).
fn plateau(units: &[Unit<'_>], level: f64) -> Option<(Reach, Interval)> {
    let rates: Vec<f64> = units.iter().map(|unit| unit.n).collect();
    let values: Vec<f64> = units.iter().map(|unit| unit.value).collect();
    let blocks: Vec<_> = units.iter().map(|unit| unit.within).collect();
    let observations = Observations::new(&rates, &values, Some(&level_indices(&blocks))).ok()?;
    observations.analysis().p.filter(|p| *p <= 1.0 - level)?;
    let Fit::Estimated(curve) = observations.fit(Family::QuadraticPlateau) else { return None };
    let from = observations.join_by(&curve, IntervalMethod::Profile, level);
    let from = if from.limits == Limits::NotComputed && from.reason.is_none() {
        Interval::not_computed(from.estimate, level, METHOD)
    } else {
        from
    };
    Some((curve.reach?, from))
}
