//! What several readings of the same treatments say together: their indices, the N already on, the stand.
//!
//! Tables that share their stages and varieties are of the same treatments, told by trial, variety and N already on. Each index alone, with the N
//! on, with the stand, and with the other indices is compared on site-years not seen: see [`FeatureComparison`].

use std::collections::{BTreeMap, BTreeSet};

use super::features::{Feature, FeatureComparison, FeatureRow, NoFeatureComparison};
use super::{FittedTrial, NeedPoint, all_sets};
use crate::response::OptimumStatus;
use crate::sensing::{choose_date, indices};
use crate::trial::{BesideN, Plot, TableSpecification};
use crate::units::{Density, NRateUnit};

/// Beyond so many indices only each alone and all together are compared: every further one would double the sets.
const MOST_INDICES: usize = 3;

/// The features of tables that share their treatments, compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// Names of the tables.
    pub tables: Vec<String>,
    /// The stand that is among the features, as *tillers*; rows are then those where it was counted.
    pub stand: Option<&'static str>,
    /// Treatments left out because their need is a bound.
    pub bounds: usize,
    /// Treatments left out because another of the same trial has the same variety and N on.
    pub alike: usize,
    /// Treatments whose response is not shown: their need counts as 0, less the N on where that counts.
    pub not_shown: usize,
    /// The comparison, or why there is none.
    pub comparison: Result<FeatureComparison, NoFeatureComparison>,
}

/// What tells a treatment: trial, variety, bits of the N on.
type Key = (String, Option<String>, u64);

struct Row {
    site_year: String,
    need: f64,
    n_on: f64,
    indices: Vec<Option<f64>>,
}

/// Compares the features of tables with their points: one result for each stage window and variety group that has a point, and another with the
/// stand where that was counted, which is in fewer trials.
#[must_use]
pub fn together(
    trials: &[FittedTrial<'_>],
    tables: &[(&TableSpecification, &[NeedPoint])],
    unit: NRateUnit,
) -> Vec<Together> {
    let mut groups: Vec<Vec<(&TableSpecification, &[NeedPoint])>> = Vec::new();
    for table in tables.iter().filter(|(_, points)| !points.is_empty()) {
        let alike = |group: &&mut Vec<(&TableSpecification, &[NeedPoint])>| {
            group
                .first()
                .is_some_and(|(first, _)| first.stages == table.0.stages && first.varieties == table.0.varieties)
        };
        match groups.iter_mut().find(alike) {
            Some(group) => group.push(*table),
            None => groups.push(vec![*table]),
        }
    }
    groups.iter().flat_map(|group| of_group(trials, group, unit)).collect()
}

fn of_group(
    trials: &[FittedTrial<'_>],
    tables: &[(&TableSpecification, &[NeedPoint])],
    unit: NRateUnit,
) -> Vec<Together> {
    let mut rows: BTreeMap<Key, Row> = BTreeMap::new();
    let (mut bounds, mut alike, mut not_shown) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for (position, (_, points)) in tables.iter().enumerate() {
        for point in points.iter() {
            let key = (point.trial.clone(), point.variety.clone(), point.n_on.to_bits());
            match point.optimum_status {
                OptimumStatus::Interior => {}
                OptimumStatus::NotShown => {
                    not_shown.insert(key.clone());
                }
                _ => {
                    bounds.insert(key);
                    continue;
                }
            }
            let row = rows.entry(key.clone()).or_insert_with(|| Row {
                site_year: point.site_year.clone(),
                need: point.need,
                n_on: point.n_on,
                indices: vec![None; tables.len()],
            });
            match row.indices.get_mut(position) {
                Some(index @ None) => *index = Some(point.index),
                _ => {
                    alike.insert(key);
                }
            }
        }
    }
    rows.retain(|key, _| !alike.contains(key));
    not_shown.retain(|key| rows.contains_key(key));
    let stand = STANDS.iter().find_map(|(name, density)| {
        let found: BTreeMap<Key, f64> =
            tables.iter().flat_map(|(specification, _)| stands(trials, specification, unit, *density)).collect();
        rows.keys().any(|key| found.contains_key(key)).then_some((*name, found))
    });
    let feature = |name: &str, unit: Option<&str>| Feature { name: name.to_owned(), unit: unit.map(str::to_owned) };
    let compared = |stand: Option<&(&'static str, BTreeMap<Key, f64>)>| {
        let mut features: Vec<Feature> = tables
            .iter()
            .map(|(specification, _)| feature(&format!("{} index", specification.instrument.name()), None))
            .collect();
        features.push(feature("N already on", Some(&unit.to_string())));
        features.extend(stand.map(|(name, _)| feature(name, Some("per m²"))));
        let row = |(key, row): (&Key, &Row)| FeatureRow {
            site_year: row.site_year.clone(),
            values: row
                .indices
                .iter()
                .copied()
                .chain([Some(row.n_on)])
                .chain(stand.map(|(_, found)| found.get(key).copied()))
                .collect(),
            need: row.need,
        };
        let rows: Vec<FeatureRow> = rows.iter().map(row).collect();
        Together {
            tables: tables.iter().map(|(specification, _)| specification.name.clone()).collect(),
            stand: stand.map(|(name, _)| *name),
            bounds: bounds.len(),
            alike: alike.len(),
            not_shown: not_shown.len(),
            comparison: FeatureComparison::of(&features, &rows, &sets(tables.len(), features.len())),
        }
    };
    std::iter::once(compared(None)).chain(stand.as_ref().map(|stand| compared(Some(stand)))).collect()
}

/// What a plot holds of something counted, where it was.
type Counted = fn(&Plot) -> Option<Density>;

/// What a stand is told by, the better first: tillers make the canopy. Never some of one and some of the other.
const STANDS: [(&str, Counted); 2] = [("tillers", |plot| plot.tillers), ("plants", |plot| plot.plants)];

/// The sets that are compared: the first `indices` of the features are indices. Every choice of indices with every choice of the others.
fn sets(indices: usize, features: usize) -> Vec<Vec<usize>> {
    let all = all_sets(features);
    all.into_iter()
        .filter(|set| {
            let own = set.iter().filter(|feature| **feature < indices).count();
            indices <= MOST_INDICES || own <= 1 || own == indices
        })
        .collect()
}

/// N on and count of each plot of a treatment, told by its level of N as planned.
type Treatments<'t> = BTreeMap<(BesideN<'t>, u64), Vec<(f64, Option<Density>)>>;

/// The mean stand of each treatment a square metre.
fn stands(
    trials: &[FittedTrial<'_>],
    table: &TableSpecification,
    unit: NRateUnit,
    density: Counted,
) -> BTreeMap<Key, f64> {
    let mut stands = BTreeMap::new();
    for FittedTrial { trial, .. } in trials {
        let Ok(choice) = choose_date(trial, table) else { continue };
        // As treatments are told in `basis`: by the N planned, with the mean of what went on.
        let mut counted = Treatments::new();
        for read in indices(trial, table.instrument, choice.date) {
            let Some(plot) = trial.plots.get(read.reading.plot) else { continue };
            if read.is_reference || read.index.is_err() {
                continue;
            }
            let planned = || trial.planned_n_where(plot, unit, |application| application.is_on(choice.date));
            let level = trial.early_level(plot, unit).unwrap_or_else(planned);
            let n_on = trial.early_level(plot, unit).unwrap_or_else(|| trial.n_already_on(plot, choice.date, unit));
            counted.entry((plot.beside_n(), level.to_bits())).or_default().push((n_on, density(plot)));
        }
        for (((variety, _), level), plots) in counted {
            let level = f64::from_bits(level);
            let on: Vec<f64> = plots.iter().map(|(n_on, _)| *n_on).collect();
            let n_on = if on.iter().all(|n_on| *n_on == level) { level } else { mean(&on) };
            // A treatment that was counted on some of its plots only would compare other plots.
            if let Some(stand) = plots
                .iter()
                .map(|(_, stand)| *stand)
                .map(|stand| stand.map(Density::per_square_metre))
                .collect::<Option<Vec<f64>>>()
            {
                let variety = variety.map(str::to_owned);
                stands.insert((trial.folder.clone(), variety, n_on.to_bits()), mean(&stand));
            }
        }
    }
    stands
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}
