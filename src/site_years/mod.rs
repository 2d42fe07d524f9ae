//! What the optima of several site-years say together: the rate that would have been best for all of them, the mean of their optima, how
//! far they differ, and where that of a new site-year would lie.
//!
//! The site-year is the unit: what is averaged, weighted and resampled is always a whole one.
//!
//! *Only like is put together.* Groups whose rate is all of the N stand apart from those whose rate is the topdress at an early level, and
//! these by that level: N given at another time, or onto another base, has another curve, and a total of both hides which. Levels within
//! 2 % of each other, as 100 kg/ha and 90 lb/ac are, count as one.
//!
//! *A site-year is the mean of its groups*: varieties and factor levels count alike, as in the trial. They share a season and a field, so that
//! they are no site-years of their own.
//!
//! - Its curve is the mean of their curves. A curve enters as it was fitted, whether or not its response was detected: counting those that were
//!   not as level would pull the best common rate down, and the more so the smaller the trials.
//! - Its optimum is the mean of their optima, with the mean of their variances over their number. Where one of them is a bound, the
//!   bounds are averaged instead, an optimum that is a number being both of its own.
//!
//! *An optimum is a number, or within limits.* [`Known`](crate::stats::random_effects::Known) of a group's optimum is
//!
//! - the rate, where both limits of its profile interval are computed. Its standard error is half the interval over Student's t; where the
//!   lower limit is 0, which cuts an interval short, the upper half over t;
//! - its interval, where a limit is open, where it is in pieces, or where a response is not shown;
//! - the highest tested rate or more, where the optimum is not reached; the rate or less, where it is only a bound from above, and where
//!   nothing pays: what a crop needs beyond 0 can't be less, and by how much the soil had more than enough is not seen.
//!
//! A lower limit of 0 therefore counts as none. Bounds carry the median variance of the site-years whose optimum is a number.

mod common_rate;
mod optima;

#[cfg(test)]
mod tests;

pub use common_rate::{CommonRate, FEWEST_RESAMPLED, Forgone, NoCommonRate};
pub use optima::NoMeanOptimum;

use std::collections::BTreeMap;

use crate::experiment::{FittedGroup, KnownOptimum};
use crate::response::Curve;
use crate::stats::random_effects::RandomEffects;

/// Below this many site-years, how far they differ is hardly known.
pub const FEW_SITE_YEARS: usize = 5;

/// Early levels this near to each other, relative to the larger, count as one.
const SAME_LEVEL: f64 = 0.02;

/// A group of a site-year.
#[derive(Clone, Copy, Debug)]
pub struct Member<'a> {
    /// The site-year, as it is named.
    pub site_year: &'a str,
    /// The group with its curves.
    pub group: &'a FittedGroup,
}

/// What is asked of site-years.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// Level of every interval, 0 to 1.
    pub level: f64,
    /// Resamples of site-years.
    pub replicates: u64,
    /// Seed of the resamples.
    pub seed: u64,
    /// Weight of a site-year in the best common rate, by its name; 1 where none is given. At least 0.
    pub weights: BTreeMap<String, f64>,
}

/// Site-years whose rates mean the same.
#[derive(Clone, Debug)]
pub struct Across {
    /// The early levels, lowest and highest, that the rates are a topdress onto; `None` where the rate is all of the N.
    pub early_n: Option<[f64; 2]>,
    /// Unit of the rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of the yields, where it is known.
    pub yield_unit: Option<String>,
    /// Its site-years, in order of first appearance.
    pub site_years: Vec<SiteYear>,
    /// Groups that take no part in one or both of the results, with the reason.
    pub set_aside: Vec<SetAside>,
    /// The best common rate, or why there is none.
    pub common_rate: Result<CommonRate, NoCommonRate>,
    /// The mean of the optima, or why there is none.
    pub optima: Result<RandomEffects, NoMeanOptimum>,
}

/// One site-year.
#[derive(Clone, Debug)]
pub struct SiteYear {
    /// Its name.
    pub name: String,
    /// Trial folders it comes from; empty for bare columns.
    pub trials: Vec<String>,
    /// Groups that it is the mean of.
    pub groups: usize,
    /// Its weight in the best common rate.
    pub weight: f64,
    /// Its optimum; `None` where no group gives one.
    pub optimum: Option<KnownOptimum>,
}

/// A group that takes no part in a result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// Its site-year.
    pub site_year: String,
    /// What tells the group from the others of its site-year; empty where it is the only one.
    pub group: Vec<(String, String)>,
    /// Which result it is not part of.
    pub from: SetAsideFrom,
    /// Why.
    pub reason: String,
}

/// A result that a group is not part of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetAsideFrom {
    /// Neither.
    Both,
    /// The mean of the optima.
    Optima,
}

/// The groups of one kind, by site-year.
type Kind<'a> = (Option<[f64; 2]>, Vec<(&'a str, Vec<&'a FittedGroup>)>);

/// Site-years put together, like with like: first those whose rate is all of the N, then by early level. Empty unless two site-years
/// have like groups (one that is pooled over a factor is left to those of the factor's levels); a kind that only one site-year has is then listed too, and its results say so.
#[must_use]
pub fn across(members: &[Member<'_>], options: &Options) -> Vec<Across> {
    let members: Vec<Member<'_>> =
        members.iter().filter(|member| member.group.group.pooled_over.is_none()).copied().collect();
    let kinds = kinds(&members);
    if kinds.iter().all(|(_, site_years)| site_years.len() < 2) {
        return Vec::new();
    }
    kinds.into_iter().map(|kind| of_kind(kind, options)).collect()
}

fn kinds<'a>(members: &[Member<'a>]) -> Vec<Kind<'a>> {
    let mut levels: Vec<f64> = members.iter().filter_map(|member| member.group.group.key.early_n).collect();
    levels.sort_by(f64::total_cmp);
    let mut ranges: Vec<[f64; 2]> = Vec::new();
    for level in levels {
        match ranges.last_mut() {
            Some([low, high]) if level - *low <= SAME_LEVEL * level => *high = level,
            _ => ranges.push([level, level]),
        }
    }
    let ranges = std::iter::once(None).chain(ranges.into_iter().map(Some));
    let kind = |range: Option<[f64; 2]>| {
        let mut site_years: Vec<(&str, Vec<&FittedGroup>)> = Vec::new();
        let is_of_kind = |member: &&Member<'_>| match (range, member.group.group.key.early_n) {
            (None, None) => true,
            (Some([low, high]), Some(level)) => (low..=high).contains(&level),
            _ => false,
        };
        for member in members.iter().filter(is_of_kind) {
            match site_years.iter_mut().find(|(name, _)| *name == member.site_year) {
                Some((_, groups)) => groups.push(member.group),
                None => site_years.push((member.site_year, vec![member.group])),
            }
        }
        (range, site_years)
    };
    ranges.map(kind).filter(|(_, site_years)| !site_years.is_empty()).collect()
}

fn of_kind((early_n, site_years): Kind<'_>, options: &Options) -> Across {
    let mut set_aside = Vec::new();
    let mut found = Vec::new();
    let mut curves: Vec<common_rate::SiteYearCurve<'_>> = Vec::new();
    for (name, groups) in &site_years {
        let weight = options.weights.get(*name).copied().unwrap_or(1.0);
        let mut own: Vec<&Curve> = Vec::new();
        let mut optima = Vec::new();
        for group in groups {
            let aside = |from, reason| SetAside {
                site_year: (*name).to_owned(),
                group: if groups.len() > 1 { telling_labels(group) } else { Vec::new() },
                from,
                reason,
            };
            match curve_of(group) {
                Ok(curve) => own.push(curve),
                Err(reason) => {
                    set_aside.push(aside(SetAsideFrom::Both, reason));
                    continue;
                }
            }
            match optima::of_group(group, options.price_ratio) {
                Ok(optimum) => optima.push(optimum),
                Err(reason) => set_aside.push(aside(SetAsideFrom::Optima, reason)),
            }
        }
        let mut trials: Vec<String> = groups.iter().filter_map(|group| group.group.key.trial.clone()).collect();
        trials.dedup();
        found.push(SiteYear {
            name: (*name).to_owned(),
            trials,
            groups: own.len(),
            weight,
            optimum: optima::mean_of(&optima),
        });
        if !own.is_empty() {
            curves.push(common_rate::SiteYearCurve { name, weight, curves: own });
        }
    }
    let units = site_years.iter().flat_map(|(_, groups)| groups).map(|group| &group.group).next();
    Across {
        early_n,
        rate_unit: units.and_then(|group| group.rate_unit.clone()),
        yield_unit: units.and_then(|group| group.yield_unit.clone()),
        common_rate: common_rate::common_rate(&curves, options),
        optima: optima::mean_optimum(&found, options.level),
        site_years: found,
        set_aside,
    }
}

/// What tells a group apart within its site-year and kind.
fn telling_labels(group: &FittedGroup) -> Vec<(String, String)> {
    group.group.key.labels().into_iter().filter(|(factor, _)| factor != "early_n").collect()
}

/// The curve that a group's optimum is read from, or why it has none.
fn curve_of(group: &FittedGroup) -> Result<&Curve, String> {
    let fitted = group.outcome.as_ref().map_err(|error| format!("no curve can be fitted: {error}"))?;
    let why = || fitted.why_none_chosen().unwrap_or("no family that answers to N is estimable").to_owned();
    fitted.optimum_curve().ok_or_else(why)
}
