//! Whether the response differs between the levels of a factor that tells groups apart.

use super::fitted::FittedGroup;
use super::group::{GroupKey, PooledOver, ResponseGroup};
use crate::response::{Choice, FactorTest, Family, Fit, Observations, choose, factor_test};

/// The levels of one factor compared, everything else alike.
#[derive(Clone, Debug)]
pub struct FactorComparison {
    /// What the groups compared have in common.
    pub key: GroupKey,
    /// The factor.
    pub factor: String,
    /// Its levels.
    pub levels: Vec<String>,
    /// The comparison, or why there is none.
    pub outcome: Result<Compared, String>,
}

/// A comparison of levels.
#[derive(Clone, Debug)]
pub struct Compared {
    /// The tests.
    pub test: FactorTest,
    /// The family that describes all levels together best, each with a height of its own.
    pub common: Option<Choice>,
}

/// Compares the levels of every factor that tells some of the groups apart: groups that are alike in all else are set side by side. A factor
/// is what a variety, a factor of the trial or the compared column of a bare file is; N already on and what splits a bare file are none.
#[must_use]
pub fn compare_factors<'a>(groups: impl IntoIterator<Item = &'a FittedGroup>) -> Vec<FactorComparison> {
    let mut sets: Vec<Set<'_>> = Vec::new();
    for fitted in groups {
        let group = &fitted.group;
        for (factor, level, common) in without_each_factor(&group.key) {
            match sets.iter_mut().find(|set| set.factor == factor && set.common == common) {
                Some(set) => set.members.push((level, fitted)),
                None => sets.push(Set { factor, common, members: vec![(level, fitted)] }),
            }
        }
    }
    sets.into_iter().filter(|set| set.members.len() > 1).map(Set::compare).collect()
}

/// Each factor of a key with its level, and the key without it.
fn without_each_factor(key: &GroupKey) -> Vec<(String, String, GroupKey)> {
    let variety = key
        .variety
        .iter()
        .map(|variety| ("variety".to_owned(), variety.clone(), GroupKey { variety: None, ..key.clone() }));
    let factors = key.factors.iter().enumerate().map(|(position, (factor, level))| {
        let mut common = key.clone();
        common.factors.remove(position);
        (factor.clone(), level.clone(), common)
    });
    variety.chain(factors).collect()
}

/// Groups that differ in the level of one factor.
struct Set<'a> {
    factor: String,
    common: GroupKey,
    members: Vec<(String, &'a FittedGroup)>,
}

impl Set<'_> {
    fn compare(self) -> FactorComparison {
        let outcome = self.outcome();
        let levels = self.members.into_iter().map(|(level, _)| level).collect();
        FactorComparison { key: self.common, factor: self.factor, levels, outcome }
    }

    fn outcome(&self) -> Result<Compared, String> {
        let groups = || self.members.iter().map(|(_, fitted)| &fitted.group);
        let factor = &self.factor;
        let shared =
            |group: &ResponseGroup| group.error_stratum.observed_as().filter(|_| !group.laid_with_n.contains(factor));
        if let Some(whole) = groups().find_map(shared) {
            return Err(format!(
                "N is on {whole}s, which the levels of {factor} share; stook anova tests N × {factor}"
            ));
        }
        let levels: Result<Vec<Observations>, String> = self
            .members
            .iter()
            .map(|(level, fitted)| {
                let observations = fitted.outcome.as_ref().map(|fitted| fitted.observations.clone());
                observations.map_err(|error| format!("{} {level}: {error}", self.factor))
            })
            .collect();
        let levels = levels?;
        let pooled = self.pooled().ok_or("there are no levels")?.observations().map_err(|error| error.to_string())?;
        let fits: Vec<Fit> = Family::ALL.iter().map(|family| pooled.fit(*family)).collect();
        Ok(Compared { test: factor_test(&pooled, &levels), common: choose(&fits) })
    }

    /// All groups as one, pooled over the factor.
    fn pooled(&self) -> Option<ResponseGroup> {
        let groups = || self.members.iter().map(|(_, fitted)| &fitted.group);
        let level_of = groups().enumerate().flat_map(|(level, group)| std::iter::repeat_n(level, group.rates.len()));
        let within: Option<Vec<&Vec<usize>>> = groups().map(ResponseGroup::within).collect();
        let blocks: Option<Vec<&Vec<usize>>> = groups().map(|group| group.blocks.as_ref()).collect();
        let replicates: Option<Vec<&Vec<usize>>> = groups().map(|group| group.replicates.as_ref()).collect();
        let joined = |parts: Vec<&Vec<usize>>| parts.into_iter().flatten().copied().collect();
        Some(ResponseGroup {
            key: self.common.clone(),
            rates: groups().flat_map(|group| group.rates.iter().copied()).collect(),
            yields: groups().flat_map(|group| group.yields.iter().copied()).collect(),
            names: groups().flat_map(|group| group.names.iter().cloned()).collect(),
            blocks: blocks.map(joined),
            within_blocks: within.map(joined),
            pooled_over: Some(PooledOver {
                factor: self.factor.clone(),
                levels: self.members.iter().map(|(level, _)| level.clone()).collect(),
                level_of: Some(level_of.collect()),
            }),
            replicates: replicates.map(joined),
            left_out: Vec::new(),
            with_excluded: None,
            ..groups().next()?.clone()
        })
    }
}
