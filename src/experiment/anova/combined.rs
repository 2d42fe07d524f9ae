//! Trials of like treatments put together, each a site-year.

use std::collections::BTreeSet;

use super::experiment::{Experiment, Factor, SITE_YEAR, WholeUnits};
use super::sources::TOPDRESS_N;
use crate::experiment::LeftOut;

/// Rates that differ by less than this share are one level over site-years: what was meant alike is written in other units.
const SAME_LEVEL: f64 = 0.02;

/// An experiment with the name of its site-year.
type Named = (String, Experiment);

/// Experiments put together, those with the same factors; each comes with the name of its site-year. Groups of a single site-year are
/// left out. N rates within 2 % of each other count as one level.
#[must_use]
pub fn combined(experiments: &[(String, Experiment)]) -> Vec<Experiment> {
    let mut groups: Vec<(BTreeSet<&str>, Vec<&Named>)> = Vec::new();
    for one in experiments {
        let factors = one.1.factors().map(|factor| factor.name.as_str()).collect();
        match groups.iter_mut().find(|(known, _)| *known == factors) {
            Some((_, members)) => members.push(one),
            None => groups.push((factors, vec![one])),
        }
    }
    groups.into_iter().filter_map(|(_, members)| together(&members)).collect()
}

impl Experiment {
    /// Every factor with a name for each level, whether it varies or not.
    fn factors(&self) -> impl Iterator<Item = &Factor> {
        self.treatments
            .iter()
            .chain(&self.constant)
            .filter(|factor| factor.levels.iter().all(|level| !level.is_empty()))
    }
}

fn together(members: &[&Named]) -> Option<Experiment> {
    let labels: Vec<&str> =
        members.iter().flat_map(|(site_year, one)| std::iter::repeat_n(site_year.as_str(), one.plots())).collect();
    let site_years = Factor::of_labels(SITE_YEAR, &labels);
    if site_years.levels.len() < 2 {
        return None;
    }
    let (_, first) = members.first()?;
    let joined = |factor: &Factor| {
        let of =
            |one: &Experiment| -> Option<Factor> { one.factors().find(|other| other.name == factor.name).cloned() };
        let all: Option<Vec<Factor>> = members.iter().map(|(_, one)| of(one)).collect();
        let all = all?;
        if all.iter().all(|factor| factor.rates.is_some()) {
            let rate =
                |factor: &Factor, level: &usize| factor.rates.as_ref().and_then(|rates| rates.get(*level).copied());
            let rates: Vec<f64> =
                all.iter().flat_map(|factor| factor.level_of.iter().filter_map(|level| rate(factor, level))).collect();
            return Some(Factor::of_rates(&factor.name, &rates, SAME_LEVEL));
        }
        let labels: Vec<&String> = all
            .iter()
            .flat_map(|factor| factor.level_of.iter().filter_map(|level| factor.levels.get(*level)))
            .collect();
        Some(Factor::of_labels(&factor.name, &labels))
    };
    let (mut treatments, constant): (Vec<Factor>, Vec<Factor>) =
        first.factors().filter_map(joined).partition(|factor| factor.levels.len() > 1);
    treatments.sort_by_key(|factor| factor.rates.is_some());
    let topdressed = treatments.iter().any(|factor| factor.name == TOPDRESS_N);
    let blocked = members.iter().any(|(_, one)| one.blocks.is_some());
    Some(Experiment {
        key: vec![("together".to_owned(), if topdressed { "early N and topdress" } else { "N rate" }.to_owned())],
        names: members
            .iter()
            .flat_map(|(site_year, one)| one.names.iter().map(move |name| format!("{site_year}, {name}")))
            .collect(),
        yields: members.iter().flat_map(|(_, one)| one.yields.iter().copied()).collect(),
        whole_units: whole_units(members, &treatments),
        treatments,
        constant,
        site_years: Some(site_years),
        // A trial without blocks is one block.
        blocks: blocked.then(|| {
            numbered(members, |one| {
                Some(one.blocks.clone().unwrap_or_else(|| vec![0; one.plots()]).into_iter().map(Some).collect())
            })
            .into_iter()
            .flatten()
            .collect()
        }),
        design: designs(members),
        left_out: members
            .iter()
            .flat_map(|(site_year, one)| {
                let named =
                    move |plot: &LeftOut| LeftOut { plot: format!("{site_year}, {}", plot.plot), ..plot.clone() };
                one.left_out.iter().map(named)
            })
            .collect(),
        rate_unit: first.rate_unit.clone(),
        yield_unit: first.yield_unit.clone(),
    })
}

/// Numbers of each member one after the other, so that no two members share one; `None` for plots of members without.
fn numbered(members: &[&Named], of: impl Fn(&Experiment) -> Option<Vec<Option<usize>>>) -> Vec<Option<usize>> {
    let mut first = 0;
    let mut all = Vec::new();
    for (_, one) in members {
        let own = of(one).unwrap_or_else(|| vec![None; one.plots()]);
        let next = own.iter().flatten().max().map_or(0, |last| last + 1);
        all.extend(own.into_iter().map(|number| number.map(|number| first + number)));
        first += next;
    }
    all
}

fn whole_units(members: &[&Named], treatments: &[Factor]) -> Vec<WholeUnits> {
    let names: BTreeSet<&str> =
        members.iter().flat_map(|(_, one)| one.whole_units.iter().map(|whole| whole.name.as_str())).collect();
    let units = |name: &str| {
        let of = |one: &Experiment| one.whole_units.iter().find(|whole| whole.name == name).cloned();
        let (_, holder) = members.iter().find(|(_, one)| of(one).is_some())?;
        let whole = of(holder)?;
        let position = |old: &usize| {
            let name = &holder.treatments.get(*old)?.name;
            treatments.iter().position(|factor| factor.name == *name)
        };
        Some(WholeUnits {
            unit_of: numbered(members, |one| Some(of(one)?.unit_of)),
            treatments: whole.treatments.iter().filter_map(position).collect(),
            ..whole
        })
    };
    names.into_iter().filter_map(units).collect()
}

/// *randomised complete blocks*, or each design with its number of trials.
fn designs(members: &[&Named]) -> String {
    let designs: BTreeSet<&str> = members.iter().map(|(_, one)| one.design.as_str()).collect();
    designs.into_iter().collect::<Vec<_>>().join("; ")
}
