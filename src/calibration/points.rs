//! The points of a trial: the mean index of a treatment and the N need found for it.

use std::collections::BTreeMap;

use super::FittedTrial;
use crate::experiment::FittedGroup;
use crate::response::{Family, Optimum, OptimumStatus};
use crate::sensing::{choose_date, indices};
use crate::trial::{BesideN, NeedFrom, TableSpecification};
use crate::units::NRateUnit;

/// Whether a need is a number or a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// The optimum was found inside the tested rates, or no response was shown.
    Exact,
    /// The optimum lies somewhere up to the second tested rate: the need is this or less.
    AtMost,
    /// The optimum was not reached within the tested rates: the need is this or more.
    AtLeast,
}

/// The N need and the index of one treatment.
#[derive(Clone, Debug, PartialEq)]
pub struct NeedPoint {
    /// Trial folder.
    pub trial: String,
    /// Site and harvest year.
    pub site_year: String,
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// How the need was found.
    pub need_from: NeedFrom,
    /// N already on at sensing, in the programme's rate unit.
    pub n_on: f64,
    /// Mean sufficiency index of the treatment's plots.
    pub index: f64,
    /// How many plots it is the mean of.
    pub plots: usize,
    /// N need, in the programme's rate unit; negative where more was on than the optimum.
    pub need: f64,
    /// Lower limit of the need, from the optimum's interval.
    pub low: Option<f64>,
    /// Upper limit of the need, from the optimum's interval.
    pub high: Option<f64>,
    /// Number or bound.
    pub bound: Bound,
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

/// What a trial gives.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TrialPoints {
    /// Points, in order of variety and N already on.
    pub points: Vec<NeedPoint>,
    /// What gives none.
    pub set_aside: Vec<SetAside>,
}

/// The points of a trial for a table, at a price ratio.
#[must_use]
pub fn trial_points(
    fitted: &FittedTrial<'_>,
    table: &TableSpecification,
    unit: NRateUnit,
    price_ratio: f64,
) -> TrialPoints {
    let trial = fitted.trial;
    let mut found = TrialPoints::default();
    let set_aside = |plots: usize, reason: String| SetAside { trial: trial.folder.clone(), plots, reason };
    let date = match choose_date(trial, table) {
        Ok(choice) => choice.date,
        Err(reason) => {
            found.set_aside.push(set_aside(trial.plots.len(), reason.to_string()));
            return found;
        }
    };
    // Treatments are told by the N planned; what went on is their mean.
    let mut treatments: BTreeMap<(BesideN, u64), Vec<(f64, f64)>> = BTreeMap::new();
    let mut without: BTreeMap<String, usize> = BTreeMap::new();
    for read in indices(trial, table.instrument, date) {
        let Some(plot) = trial.plots.get(read.reading.plot) else { continue };
        if read.is_reference {
            *without.entry("N-rich reference plot: not a calibration point under itself".to_owned()).or_default() += 1;
            continue;
        }
        let planned = || trial.planned_n_where(plot, unit, |application| application.is_on(date));
        let level = trial.early_level(plot, unit).unwrap_or_else(planned);
        let n_on = trial.early_level(plot, unit).unwrap_or_else(|| trial.n_already_on(plot, date, unit));
        match read.index {
            // Rates are not negative, so the order of their bits is the order of their values.
            Ok(indexed) => {
                treatments.entry((plot.beside_n(), level.to_bits())).or_default().push((indexed.index, n_on));
            }
            Err(reason) => *without.entry(reason.to_string()).or_default() += 1,
        }
    }
    found.set_aside.extend(without.into_iter().map(|(reason, plots)| set_aside(plots, reason)));
    let mut optima: BTreeMap<(BesideN, Option<u64>), NeedOptimum> = BTreeMap::new();
    for (((variety, levels), level), read) in treatments {
        let early = (trial.need_from == NeedFrom::TopdressResponse).then_some(level);
        let optimum = optima.entry(((variety, levels), early)).or_insert_with(|| {
            let of_treatment = |group: &&FittedGroup| {
                let key = &group.group.key;
                let factors = key.factors.iter().map(|(_, level)| level);
                key.variety.as_deref() == variety && factors.eq(levels) && key.early_n.map(f64::to_bits) == early
            };
            need_optimum(fitted.groups.iter().find(of_treatment), price_ratio)
        });
        let plots = read.len();
        let (optimum, rate) = match optimum {
            Ok((optimum, rate)) => (optimum, *rate),
            Err(reason) => {
                found.set_aside.push(set_aside(plots, reason.clone()));
                continue;
            }
        };
        let n_on = mean_applied(&read, f64::from_bits(level));
        let already = if early.is_some() { 0.0 } else { n_on };
        found.points.push(NeedPoint {
            trial: trial.folder.clone(),
            site_year: trial.site_year(),
            variety: variety.map(str::to_owned),
            need_from: trial.need_from,
            n_on,
            index: read.iter().map(|(index, _)| index).sum::<f64>() / plots as f64,
            plots,
            need: rate - already,
            low: optimum.interval.low.map(|low| low - already),
            high: optimum.interval.high.map(|high| high - already),
            bound: match optimum.status {
                OptimumStatus::AtHighestTestedRate => Bound::AtLeast,
                OptimumStatus::BeforeFirstRate => Bound::AtMost,
                // Not shown where no plot had rate 0: the lowest tested rate, or less.
                _ if optimum.interval.estimate.is_none() => Bound::AtMost,
                _ => Bound::Exact,
            },
            family: optimum.family,
            optimum_status: optimum.status,
        });
    }
    found
}

/// The mean N that went on; the level itself where that is what went on, to its last digit.
fn mean_applied(read: &[(f64, f64)], level: f64) -> f64 {
    if read.iter().all(|(_, n_on)| *n_on == level) {
        return level;
    }
    read.iter().map(|(_, n_on)| n_on).sum::<f64>() / read.len() as f64
}

/// An optimum with its rate, or why there is none to count a need from.
type NeedOptimum = Result<(Optimum, f64), String>;

/// The optimum that a need is counted from.
///
/// A response that cannot be tested gives no need: a curve through a few means has an optimum whether or not N does anything. Neither does
/// one that is not shown although its interval rules out a need of zero: the test and the interval contradict each other.
fn need_optimum(group: Option<&FittedGroup>, price_ratio: f64) -> NeedOptimum {
    let group = group.ok_or("no yields of these plots")?;
    let fitted = group.outcome.as_ref().map_err(|error| format!("its yields give no curve: {error}"))?;
    if let Some(reason) = &fitted.response.untested {
        return Err(format!("a response cannot be tested: {reason}"));
    }
    let found = fitted.chosen_optimum(price_ratio).and_then(|(_, optimum)| Some((optimum.rate?, optimum)));
    let Some((rate, optimum)) = found else {
        let reason = fitted.why_none_chosen().unwrap_or("no family that answers to N is estimable");
        return Err(format!("its yields give no optimum: {reason}"));
    };
    if optimum.status == OptimumStatus::NotShown && optimum.interval.low.is_some_and(|low| low > rate) {
        return Err("a response is not shown, but the interval of its optimum rules out a need of zero".to_owned());
    }
    Ok((optimum, rate))
}
