//! The points of a calibration: the mean index of a treatment and the N need found for it at a price ratio.

use super::basis::{Basis, GroupBasis, TrialBasis};
use crate::experiment::{KnownOptimum, OptimumCurve, TreatmentEvidence};
use crate::response::{Family, Optimum, OptimumStatus};
use crate::stats::random_effects::Known;
use crate::trial::NeedFrom;

/// What is known of a need.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// A number.
    Exact,
    /// It is this or less: the optimum lies somewhere up to the second tested rate, nothing pays, or no response is shown.
    AtMost,
    /// It is this or more: the optimum was not reached within the tested rates.
    AtLeast,
    /// It lies between two limits.
    Within,
    /// The yields set it no limit.
    Open,
}

/// The N need and the index of one treatment.
#[derive(Clone, Debug, PartialEq)]
pub struct NeedPoint {
    /// Trial folder.
    pub trial: String,
    /// Site and harvest year.
    pub site_year: String,
    /// The site.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i16,
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// How the need was found.
    pub need_from: NeedFrom,
    /// N already on at sensing, in the rate unit.
    pub n_on: f64,
    /// Mean sufficiency index of the treatment's plots.
    pub index: f64,
    /// How many plots it is the mean of.
    pub plots: usize,
    /// N need, in the rate unit; negative where more was on than the optimum. Of a bound the limit, of an optimum that is not shown the
    /// lowest tested rate less the N on.
    pub need: f64,
    /// Lower limit of the need, from the optimum's interval.
    pub low: Option<f64>,
    /// Upper limit of the need, from the optimum's interval.
    pub high: Option<f64>,
    /// What a relation takes for known of it.
    pub known: Known,
    /// Variance of a need that is a number, in squared rate units; points with the same [`curve`](Self::curve) share the error.
    pub variance: Option<f64>,
    /// The curve that it is counted from: positions of trial and group in the [`Basis`].
    pub curve: [usize; 2],
    /// Family the optimum comes from.
    pub family: Family,
    /// Status of the optimum.
    pub optimum_status: OptimumStatus,
}

/// A trial, or plots of it, that give no calibration point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// Trial folder.
    pub trial: String,
    /// How many plots.
    pub plots: usize,
    /// Why.
    pub reason: String,
}

impl NeedPoint {
    /// What kind of knowledge its need is.
    #[must_use]
    pub fn bound(&self) -> Bound {
        match self.known {
            Known::Exact(_) => Bound::Exact,
            Known::Between { low, high } => match (low.is_finite(), high.is_finite()) {
                (true, true) => Bound::Within,
                (true, false) => Bound::AtLeast,
                (false, true) => Bound::AtMost,
                (false, false) => Bound::Open,
            },
        }
    }
}

/// The points at a price ratio, in order of trial, variety and N already on, and what gives none there. `level` is that of the optima's
/// intervals.
#[must_use]
pub fn needs(basis: &Basis, price_ratio: f64, level: f64) -> (Vec<NeedPoint>, Vec<SetAside>) {
    let mut points = Vec::new();
    let mut set_aside = Vec::new();
    for (position, trial) in basis.trials.iter().enumerate() {
        for (number, group) in trial.groups.iter().enumerate() {
            let found =
                group.curve.as_ref().map_err(Clone::clone).and_then(|curve| need_optimum(curve, price_ratio, level));
            match found {
                Ok((optimum, known)) => {
                    let point = |treatment| need_point(trial, group, treatment, [position, number], &optimum, known);
                    points.extend(group.evidence.treatments.iter().map(point));
                }
                Err(reason) => {
                    let plots = group.evidence.treatments.iter().map(|treatment| treatment.plots).sum();
                    set_aside.push(SetAside { trial: trial.trial.clone(), plots, reason });
                }
            }
        }
    }
    (points, set_aside)
}

/// The optimum that needs are counted from, and what is known of it. One that is not shown although its interval rules out a need of
/// zero gives none: the test and the interval contradict each other.
fn need_optimum(curve: &OptimumCurve, price_ratio: f64, level: f64) -> Result<(Optimum, KnownOptimum), String> {
    let (_, optimum) = curve.optimum(price_ratio, level);
    let rate = optimum.rate.ok_or("its yields give no optimum")?;
    if optimum.status == OptimumStatus::NotShown && optimum.interval.low.is_some_and(|low| low > rate) {
        return Err("a response is not shown, but the interval of its optimum rules out a need of zero".to_owned());
    }
    let known = curve.known_optimum(price_ratio, level)?;
    Ok((optimum, known))
}

fn need_point(
    trial: &TrialBasis,
    group: &GroupBasis,
    treatment: &TreatmentEvidence,
    curve: [usize; 2],
    optimum: &Optimum,
    known: KnownOptimum,
) -> NeedPoint {
    let already = if group.evidence.early_n.is_some() { 0.0 } else { treatment.n_on };
    let rate = match (known.known, optimum.rate) {
        (Known::Exact(rate), _) | (_, Some(rate)) => rate,
        (Known::Between { low, .. }, None) => low,
    };
    NeedPoint {
        trial: trial.trial.clone(),
        site_year: trial.site_year.clone(),
        site: trial.site.clone(),
        harvest_year: trial.harvest_year,
        variety: group.evidence.variety.clone(),
        need_from: trial.need_from,
        n_on: treatment.n_on,
        index: treatment.index,
        plots: treatment.plots,
        need: rate - already,
        low: optimum.interval.low.map(|low| low - already),
        high: optimum.interval.high.map(|high| high - already),
        known: match known.known {
            Known::Exact(rate) => Known::Exact(rate - already),
            Known::Between { low, high } => Known::Between { low: low - already, high: high - already },
        },
        variance: known.variance,
        curve,
        family: optimum.family,
        optimum_status: optimum.status,
    }
}
