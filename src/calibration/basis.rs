//! What a calibration rests on, without prices: gathered from trials, and its curves fitted once.

use std::collections::BTreeMap;

use super::FittedTrial;
use super::points::SetAside;
use crate::experiment::{Evidence, FittedGroup, GroupEvidence, OptimumCurve, TreatmentEvidence, TrialEvidence};
use crate::sensing::{choose_date, indices};
use crate::trial::{BesideN, NeedFrom, TableSpecification, Trial};
use crate::units::NRateUnit;

/// The evidence of trials for a table, and what of them is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gathered {
    /// The evidence.
    pub evidence: Evidence,
    /// Trials and plots that are none, with the reason.
    pub set_aside: Vec<SetAside>,
}

/// What tells the curve of a treatment: variety and factors, and the early level where the topdress is what varies.
type CurveKey<'t> = (BesideN<'t>, Option<u64>);

/// The readings of a treatment: its level of N, as planned; then index and N on of each plot.
type Treatments<'t> = BTreeMap<(BesideN<'t>, u64), Vec<(f64, f64)>>;

/// The evidence of every trial for a table.
#[must_use]
pub fn gather(trials: &[FittedTrial<'_>], table: &TableSpecification, unit: NRateUnit) -> Gathered {
    let mut gathered = Gathered::default();
    for fitted in trials {
        let trial = fitted.trial;
        let mut aside = Vec::new();
        let groups = groups_of(fitted, table, unit, &mut aside);
        let set_aside = |(plots, reason)| SetAside { trial: trial.folder.clone(), plots, reason };
        gathered.set_aside.extend(aside.into_iter().map(set_aside));
        if !groups.is_empty() {
            gathered.evidence.trials.push(TrialEvidence {
                trial: trial.folder.clone(),
                site: trial.site.clone(),
                harvest_year: trial.harvest_year,
                need_from: trial.need_from,
                groups,
            });
        }
    }
    gathered
}

fn groups_of(
    fitted: &FittedTrial<'_>,
    table: &TableSpecification,
    unit: NRateUnit,
    aside: &mut Vec<(usize, String)>,
) -> Vec<GroupEvidence> {
    let trial = fitted.trial;
    let treatments = match treatments(trial, table, unit, aside) {
        Ok(treatments) => treatments,
        Err(reason) => {
            aside.push((trial.plots.len(), reason));
            return Vec::new();
        }
    };
    let mut groups: Vec<(CurveKey<'_>, Result<GroupEvidence, String>)> = Vec::new();
    for ((beside, level), read) in treatments {
        let early = (trial.need_from == NeedFrom::TopdressResponse).then_some(level);
        if groups.last().is_none_or(|(key, _)| *key != (beside, early)) {
            groups.push(((beside, early), group_evidence(find_group(fitted.groups, beside, early))));
        }
        match groups.last_mut().map(|(_, group)| group) {
            Some(Ok(group)) => group.treatments.push(treatment(&read, f64::from_bits(level))),
            Some(Err(reason)) => aside.push((read.len(), reason.clone())),
            None => {}
        }
    }
    groups.into_iter().filter_map(|(_, group)| group.ok()).collect()
}

/// The treatments with an index on the table's sensing date.
fn treatments<'t>(
    trial: &'t Trial,
    table: &TableSpecification,
    unit: NRateUnit,
    aside: &mut Vec<(usize, String)>,
) -> Result<Treatments<'t>, String> {
    let date = choose_date(trial, table).map_err(|reason| reason.to_string())?.date;
    let mut treatments = Treatments::new();
    let mut without: BTreeMap<String, usize> = BTreeMap::new();
    let wanted = |variety: Option<&str>| {
        let named = |name: &String| variety.is_some_and(|variety| variety.trim().eq_ignore_ascii_case(name));
        table.varieties.is_empty() || table.varieties.iter().any(named)
    };
    for read in indices(trial, table.instrument, date) {
        let Some(plot) = trial.plots.get(read.reading.plot) else { continue };
        if !wanted(plot.variety.as_deref()) {
            let variety = plot.variety.as_deref().unwrap_or("a variety that is not named");
            *without.entry(format!("{variety} is not in the table's variety group")).or_default() += 1;
            continue;
        }
        if read.is_reference {
            *without.entry("N-rich reference plot: not a calibration point under itself".to_owned()).or_default() += 1;
            continue;
        }
        // Treatments are told by the N planned; what went on is their mean.
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
    aside.extend(without.into_iter().map(|(reason, plots)| (plots, reason)));
    Ok(treatments)
}

fn find_group<'g>(
    groups: &'g [FittedGroup],
    (variety, levels): BesideN<'_>,
    early: Option<u64>,
) -> Option<&'g FittedGroup> {
    groups.iter().find(|group| {
        let key = &group.group.key;
        let factors = key.factors.iter().map(|(_, level)| level);
        key.variety.as_deref() == variety && factors.eq(levels) && key.early_n.map(f64::to_bits) == early
    })
}

/// A group without its treatments.
///
/// A response that cannot be tested gives no need: a curve through a few means has an optimum whether or not N does anything.
fn group_evidence(group: Option<&FittedGroup>) -> Result<GroupEvidence, String> {
    let group = group.ok_or("no yields of these plots")?;
    let fitted = group.outcome.as_ref().map_err(|error| format!("its yields give no curve: {error}"))?;
    if let Some(reason) = &fitted.response.untested {
        return Err(format!("a response cannot be tested: {reason}"));
    }
    let curve = fitted.optimum_curve().ok_or_else(|| {
        let reason = fitted.why_none_chosen().unwrap_or("no family that answers to N is estimable");
        format!("its yields give no optimum: {reason}")
    })?;
    Ok(GroupEvidence {
        variety: group.group.key.variety.clone(),
        factors: group.group.key.factors.clone(),
        early_n: group.group.key.early_n,
        rates: group.group.rates.clone(),
        yields: group.group.yields.clone(),
        blocks: group.group.nuisance(),
        family: curve.family,
        detected: fitted.detected(),
        treatments: Vec::new(),
    })
}

fn treatment(read: &[(f64, f64)], level: f64) -> TreatmentEvidence {
    let plots = read.len() as f64;
    let index = read.iter().map(|(index, _)| index).sum::<f64>() / plots;
    let squares: f64 = read.iter().map(|(value, _)| (value - index).powi(2)).sum();
    // The level itself where that is what went on, to its last digit.
    let as_planned = read.iter().all(|(_, n_on)| *n_on == level);
    let n_on = if as_planned { level } else { read.iter().map(|(_, n_on)| n_on).sum::<f64>() / plots };
    TreatmentEvidence {
        n_on,
        index,
        plots: read.len(),
        standard_deviation: (read.len() > 1).then(|| (squares / (plots - 1.0)).sqrt()),
    }
}

/// A group's evidence with its curve.
#[derive(Clone, Debug)]
pub struct GroupBasis {
    /// The evidence.
    pub evidence: GroupEvidence,
    /// The curve, or why there is none.
    pub curve: Result<OptimumCurve, String>,
}

/// A trial's evidence with its curves.
#[derive(Clone, Debug)]
pub struct TrialBasis {
    /// Trial folder.
    pub trial: String,
    /// The site.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i16,
    /// Site and harvest year.
    pub site_year: String,
    /// How its needs are found.
    pub need_from: NeedFrom,
    /// Its curves.
    pub groups: Vec<GroupBasis>,
}

/// The curves that a calibration's needs are counted from, fitted once for all price ratios.
#[derive(Clone, Debug, Default)]
pub struct Basis {
    /// One a trial.
    pub trials: Vec<TrialBasis>,
}

impl Basis {
    /// Fits every curve of the evidence.
    #[must_use]
    pub fn of(evidence: &Evidence) -> Self {
        let group = |evidence: &GroupEvidence| GroupBasis {
            curve: match OptimumCurve::of_evidence(evidence) {
                Ok(Some(curve)) => Ok(curve),
                Ok(None) => Err(format!("its {} is not estimable", evidence.family)),
                Err(error) => Err(format!("its yields give no curve: {error}")),
            },
            evidence: evidence.clone(),
        };
        let trial = |trial: &TrialEvidence| TrialBasis {
            trial: trial.trial.clone(),
            site: trial.site.clone(),
            harvest_year: trial.harvest_year,
            site_year: trial.site_year(),
            need_from: trial.need_from,
            groups: trial.groups.iter().map(group).collect(),
        };
        Self { trials: evidence.trials.iter().map(trial).collect() }
    }

    /// The curve of a group, by the positions of trial and group.
    #[must_use]
    pub fn curve(&self, [trial, group]: [usize; 2]) -> Option<&OptimumCurve> {
        self.trials.get(trial)?.groups.get(group)?.curve.as_ref().ok()
    }
}
