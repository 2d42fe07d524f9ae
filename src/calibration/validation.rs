//! What the rule says of site-years that it has not seen, and what that is worth.
//!
//! Every choice is made anew without what is held out: the kind of the relation, its fit, the flat rates it is compared with. The yields of a
//! held-out site-year play no part in what is predicted for it; its own curve then scores every rule alike.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::choose::choose;
use super::materials::Materials;
use super::points::{Bound, NeedPoint};
use super::relation::NoRelation;
use super::returns::{Returns, Scoring};
use super::rule_rate;
use crate::trial::RelationKind;

/// A way to set the rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// By the reading, as the relation of the other site-years has it.
    Sensor,
    /// The best rate of the other site-years given the N already on.
    GivenEarly,
    /// The best total of early and topdress N of the other site-years, less the N already on.
    FlatTotal,
    /// The best single topdress of the other site-years.
    FlatTopdress,
    /// The programme's standard topdress.
    Standard,
    /// The best rate on the point's own curve.
    Hindsight,
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 6] =
        [Self::Sensor, Self::GivenEarly, Self::FlatTotal, Self::FlatTopdress, Self::Standard, Self::Hindsight];

    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Sensor => "sensor",
            Self::GivenEarly => "best-given-early-n",
            Self::FlatTotal => "best-total-less-early-n",
            Self::FlatTopdress => "best-single-topdress",
            Self::Standard => "standard",
            Self::Hindsight => "best-in-hindsight",
        }
    }
}

/// A rate with what it forgoes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scored {
    /// The rate, in the rate unit.
    pub rate: f64,
    /// What it forgoes against the best rate in hindsight, in yield units.
    pub forgone: f64,
}

/// One point of what was held out.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// The point.
    pub point: NeedPoint,
    /// The need that the relation of the others gives at its index (at the nearest they have); below zero where it says so.
    pub need: f64,
    /// Whether the point's index lies within the indices of the others.
    pub in_domain: bool,
    /// Every rule's rate and what it forgoes; a rule without a rate is absent.
    pub scores: BTreeMap<Rule, Scored>,
    /// Whether what a rule forgoes is a lower bound, the point's own optimum not being reached.
    pub is_lower_bound: bool,
}

impl Prediction {
    /// The rule's rate.
    #[must_use]
    pub fn rate(&self, rule: Rule) -> Option<f64> {
        self.scores.get(&rule).map(|scored| scored.rate)
    }

    /// A rule's rate minus the need that could be met (never below zero); `None` where the need is no number.
    #[must_use]
    pub fn error(&self, rule: Rule) -> Option<f64> {
        (self.point.bound() == Bound::Exact).then(|| Some(self.rate(rule)? - self.point.need.max(0.0))).flatten()
    }
}

/// A site-year that was held out.
#[derive(Clone, Debug, PartialEq)]
pub struct HeldOut {
    /// The site-year.
    pub site_year: String,
    /// The kind of relation that the others chose, or why they give none.
    pub kind: Result<RelationKind, NoRelation>,
    /// Its points as the others predict them; empty where they give no relation.
    pub predictions: Vec<Prediction>,
}

impl HeldOut {
    /// The mean of a quantity over its points; `None` where no point has it.
    #[must_use]
    pub fn mean(&self, of: impl Fn(&Prediction) -> Option<f64>) -> Option<f64> {
        let values: Vec<f64> = self.predictions.iter().filter_map(of).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    }

    /// What a rule forgoes on it, in yield units.
    #[must_use]
    pub fn forgone(&self, rule: Rule) -> Option<f64> {
        self.mean(|prediction| prediction.scores.get(&rule).map(|scored| scored.forgone))
    }
}

/// What is held out together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HoldOut {
    /// A site-year; of many, several at a time (see [`MOST_HELD_OUT`]).
    SiteYear,
    /// All site-years of a harvest year.
    Season,
    /// All site-years of a site.
    Site,
}

impl HoldOut {
    /// Every way.
    pub const ALL: [Self; 3] = [Self::SiteYear, Self::Season, Self::Site];

    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::SiteYear => "site-year",
            Self::Season => "season",
            Self::Site => "site",
        }
    }
}

/// Up to so many, site-years, seasons or sites are held out one by one; more of them in ten parts, which is the harder test.
pub const MOST_HELD_OUT: usize = 24;

/// Parts of many.
const PARTS: usize = 10;

/// The rule on site-years that it has not seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Validation {
    /// What was held out together.
    pub by: HoldOut,
    /// In how many parts.
    pub parts: usize,
    /// Every site-year, in order.
    pub held_out: Vec<HeldOut>,
}

/// How a rule did on all of them, each site-year counting the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Performance {
    /// The rule.
    pub rule: Rule,
    /// Root mean square of its rates minus the needs that are numbers; `None` without any.
    pub root_mean_square_error: Option<f64>,
    /// Mean of the same.
    pub bias: Option<f64>,
    /// Mean rate.
    pub rate: f64,
    /// Mean forgone return, in yield units.
    pub forgone: f64,
    /// Site-years.
    pub site_years: usize,
    /// Site-years in which it is a lower bound for some point.
    pub lower_bounds: usize,
}

impl Validation {
    /// How each rule did that has a rate for every site-year with predictions.
    #[must_use]
    pub fn performances(&self) -> Vec<Performance> {
        Rule::ALL.into_iter().filter_map(|rule| self.performance(rule)).collect()
    }

    /// How a rule did; `None` where it has no rates.
    #[must_use]
    pub fn performance(&self, rule: Rule) -> Option<Performance> {
        let of = |value: &dyn Fn(&HeldOut) -> Option<f64>| -> Option<f64> {
            let values: Vec<f64> = self.held_out.iter().filter_map(value).collect();
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
        };
        let with = self.held_out.iter().filter(|held_out| held_out.forgone(rule).is_some());
        Some(Performance {
            rule,
            root_mean_square_error: of(&|held_out| held_out.mean(|one| one.error(rule).map(|error| error * error)))
                .map(f64::sqrt),
            bias: of(&|held_out| held_out.mean(|one| one.error(rule))),
            rate: of(&|held_out| held_out.mean(|one| one.rate(rule)))?,
            forgone: of(&|held_out| held_out.forgone(rule))?,
            site_years: with.clone().count(),
            lower_bounds: with.filter(|held_out| held_out.predictions.iter().any(|one| one.is_lower_bound)).count(),
        })
    }
}

/// Holds out site-years, seasons or sites in turn and makes every choice without them. `None` where fewer than two parts can be held out.
#[must_use]
pub fn hold_out(
    materials: &Materials,
    scoring: &Scoring<'_>,
    asked: Option<RelationKind>,
    by: HoldOut,
) -> Option<Validation> {
    let parts = parts(materials, by);
    if parts.len() < 2 {
        return None;
    }
    let returns = Returns::new(&materials.points, scoring);
    let held_out = |held: &BTreeSet<&str>| hold_out_part(materials, scoring, asked, held, &returns);
    let mut all: Vec<HeldOut> = parts.par_iter().flat_map_iter(held_out).collect();
    all.sort_by(|a, b| a.site_year.cmp(&b.site_year));
    Some(Validation { by, parts: parts.len(), held_out: all })
}

fn parts(materials: &Materials, by: HoldOut) -> Vec<BTreeSet<&str>> {
    let key = |point: &NeedPoint| match by {
        HoldOut::SiteYear => point.site_year.clone(),
        HoldOut::Season => point.harvest_year.to_string(),
        HoldOut::Site => point.site.clone(),
    };
    let mut units: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for point in &materials.points {
        units.entry(key(point)).or_default().insert(point.site_year.as_str());
    }
    if units.len() <= MOST_HELD_OUT {
        return units.into_values().collect();
    }
    let mut parts = vec![BTreeSet::new(); PARTS];
    for (part, unit) in (0..PARTS).cycle().zip(units.into_values()) {
        if let Some(part) = parts.get_mut(part) {
            part.extend(unit);
        }
    }
    parts
}

fn hold_out_part(
    materials: &Materials,
    scoring: &Scoring<'_>,
    asked: Option<RelationKind>,
    held: &BTreeSet<&str>,
    returns: &Returns,
) -> Vec<HeldOut> {
    let others = materials.without(held);
    let relation = choose(&others, scoring, asked).and_then(|chosen| others.ready(chosen.kind)?.fit(None, None));
    let counts = |site_year: &str| !held.contains(site_year);
    let flat = returns.best_flat(&counts);
    let of_site_year = |site_year: &&str| {
        let own = materials.points.iter().filter(|point| point.site_year == **site_year);
        let predict = |point: &NeedPoint| {
            let relation = relation.as_ref().ok()?;
            let (lowest, highest) = relation.domain;
            let (best_rate, best) = scoring.in_hindsight(point)?;
            let [flat_topdress, flat_total] = flat?;
            let rates = [
                (Rule::Sensor, Some(rule_rate(relation, point.index, scoring.highest))),
                (Rule::GivenEarly, returns.best_given(point.n_on, scoring, &counts)),
                (Rule::FlatTotal, Some((flat_total - point.n_on).clamp(0.0, scoring.highest))),
                (Rule::FlatTopdress, Some(flat_topdress)),
                (Rule::Standard, scoring.standard),
                (Rule::Hindsight, Some(best_rate)),
            ];
            let score = |(rule, rate): (Rule, Option<f64>)| {
                let rate = rate?;
                Some((rule, Scored { rate, forgone: best - scoring.net_return(point, point.n_on, rate)? }))
            };
            Some(Prediction {
                need: relation.need(point.index.clamp(lowest, highest)),
                in_domain: (lowest..=highest).contains(&point.index),
                scores: rates.into_iter().filter_map(score).collect(),
                is_lower_bound: scoring.is_bounded_below(point),
                point: point.clone(),
            })
        };
        HeldOut {
            site_year: (*site_year).to_owned(),
            kind: relation.as_ref().map(|relation| relation.kind).map_err(Clone::clone),
            predictions: own.filter_map(predict).collect(),
        }
    };
    held.iter().map(of_site_year).collect()
}
