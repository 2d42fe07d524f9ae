//! Which kind of relation: the simplest whose forgone return on held-out site-years is not told from the best one's.

use std::collections::BTreeSet;

use super::materials::Materials;
use super::relation::{NoRelation, Relation};
use super::returns::Scoring;
use super::rule_rate;
use crate::trial::RelationKind;

/// A choice holds site-years out in so many parts at most.
pub const MOST_FOLDS: usize = 6;

/// A kind with what it forgoes.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// The kind.
    pub kind: RelationKind,
    /// Mean over the held-out site-years of what its rates forgo, in yield units; or why it has none.
    pub forgone: Result<f64, NoRelation>,
}

/// A kind that was chosen, and the others.
#[derive(Clone, Debug, PartialEq)]
pub struct Chosen {
    /// The kind.
    pub kind: RelationKind,
    /// Every kind tried, simplest first; empty where one was asked for.
    pub tried: Vec<Tried>,
}

/// Parts of site-years that are held out together: each alone, or [`MOST_FOLDS`] parts dealt in order of their names.
pub(super) fn folds(site_years: &[String], most: usize) -> Vec<BTreeSet<&str>> {
    let count = site_years.len().min(most.max(1));
    let mut folds = vec![BTreeSet::new(); count];
    for (position, name) in site_years.iter().enumerate() {
        if let Some(fold) = folds.get_mut(position % count) {
            fold.insert(name.as_str());
        }
    }
    folds
}

/// Chooses the kind: the one asked for; else by holding out site-years, each choice made from the others alone.
///
/// The smallest mean forgone return wins, but a simpler kind is taken where the best gains less over it than one standard error of that gain
/// between site-years: few site-years cannot tell kinds apart, and the simpler one is less wild.
///
/// # Errors
/// [`NoRelation`] of the simplest kind, where no kind has a relation.
pub fn choose(materials: &Materials, scoring: &Scoring<'_>, asked: Option<RelationKind>) -> Result<Chosen, NoRelation> {
    if let Some(kind) = asked {
        return Ok(Chosen { kind, tried: Vec::new() });
    }
    let folds = folds(&materials.site_years, MOST_FOLDS);
    let without: Vec<Materials> = folds.iter().map(|fold| materials.without(fold)).collect();
    let mut tried: Vec<(RelationKind, Result<Vec<f64>, NoRelation>)> = Vec::new();
    for kind in RelationKind::CHOSEN_AMONG {
        let losses = || -> Result<Vec<f64>, NoRelation> {
            // It must have a relation of all of them, or there is nothing to take.
            materials.ready(kind)?.fit(None, None)?;
            let mut losses = Vec::new();
            for (fold, others) in folds.iter().zip(&without) {
                let relation = others.ready(kind)?.fit(None, None)?;
                losses.extend(fold.iter().filter_map(|held| forgone(&relation, materials, scoring, held)));
            }
            Ok(losses)
        };
        tried.push((kind, losses()));
    }
    let mean = |losses: &[f64]| losses.iter().sum::<f64>() / losses.len().max(1) as f64;
    let with = || tried.iter().filter_map(|(kind, losses)| Some((*kind, losses.as_ref().ok()?)));
    let best = with().filter(|(_, losses)| !losses.is_empty()).min_by(|a, b| mean(a.1).total_cmp(&mean(b.1)));
    let kind = match best {
        Some((_, best)) => with().find(|(_, losses)| is_as_good(losses, best)).map(|(kind, _)| kind),
        // Too few site-years to hold one out: the simplest that has a relation.
        None => RelationKind::CHOSEN_AMONG.into_iter().find(|kind| materials.relation(*kind).is_ok()),
    };
    let tried_kinds: Vec<Tried> = tried
        .iter()
        .map(|(kind, losses)| Tried { kind: *kind, forgone: losses.as_ref().map(|l| mean(l)).map_err(Clone::clone) })
        .collect();
    match kind {
        Some(kind) => Ok(Chosen { kind, tried: tried_kinds }),
        None => Err(materials.relation(RelationKind::Linear).err().unwrap_or(NoRelation::NoPoints)),
    }
}

/// Whether losses are above the best ones by no more than one standard error of the difference.
fn is_as_good(losses: &[f64], best: &[f64]) -> bool {
    let differences: Vec<f64> = losses.iter().zip(best).map(|(loss, best)| loss - best).collect();
    let count = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / count;
    if mean <= 0.0 {
        return true;
    }
    let squares: f64 = differences.iter().map(|difference| (difference - mean).powi(2)).sum();
    differences.len() > 1 && mean <= (squares / (count - 1.0) / count).sqrt()
}

/// The mean forgone return of a relation's rates over the points of a site-year, in yield units.
fn forgone(relation: &Relation, materials: &Materials, scoring: &Scoring<'_>, site_year: &str) -> Option<f64> {
    let own = materials.points.iter().filter(|point| point.site_year == site_year);
    let losses: Vec<f64> = own
        .filter_map(|point| {
            let rate = rule_rate(relation, point.index, scoring.highest);
            let (_, best) = scoring.in_hindsight(point)?;
            Some(best - scoring.net_return(point, point.n_on, rate)?)
        })
        .collect();
    (!losses.is_empty()).then(|| losses.iter().sum::<f64>() / losses.len() as f64)
}
