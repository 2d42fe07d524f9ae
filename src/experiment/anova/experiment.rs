//! The plots of a designed experiment with their treatments and units of randomisation.

use super::AnalysisKey;
use crate::experiment::LeftOut;
use crate::stats::levels::level_indices;

/// The site-year as a source of variation.
pub(super) const SITE_YEAR: &str = "site-year";

/// Observations with their design: one trial, a group of rows of a file, or several site-years together.
#[derive(Clone, Debug, PartialEq)]
pub struct Experiment {
    /// What tells it from the others.
    pub key: AnalysisKey,
    /// What each observation is called: *plot 304*, *row 17*.
    pub names: Vec<String>,
    /// Yield of each observation, in field order.
    pub yields: Vec<f64>,
    /// Factors that were randomised, each of two levels or more, in the order in which a table lists them.
    pub treatments: Vec<Factor>,
    /// Factors of one level, which take no part.
    pub constant: Vec<Factor>,
    /// Site-year of each observation, where there are several.
    pub site_years: Option<Factor>,
    /// Block of each observation, numbered from 0 across site-years; `None` without blocks.
    pub blocks: Option<Vec<usize>>,
    /// Units larger than a plot, smaller than a block, that treatments were randomised to.
    pub whole_units: Vec<WholeUnits>,
    /// The design in words: *split-plot, variety on main plots*.
    pub design: String,
    /// Plots that do not enter, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Unit of the N rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of the yields, where it is known.
    pub yield_unit: Option<String>,
}

/// A factor and its level at each observation.
#[derive(Clone, Debug, PartialEq)]
pub struct Factor {
    /// *variety*, *N rate*.
    pub name: String,
    /// Its levels: rates ascending, others as text sorts them.
    pub levels: Vec<String>,
    /// The position of the level of each observation.
    pub level_of: Vec<usize>,
    /// The rate of each level, where the factor is a quantity.
    pub rates: Option<Vec<f64>>,
}

/// Units of randomisation that hold several plots.
#[derive(Clone, Debug, PartialEq)]
pub struct WholeUnits {
    /// *main plots*, *strips of variety*.
    pub name: String,
    /// The error of the table that they make: *error a*.
    pub error: String,
    /// Unit of each observation, numbered from 0; `None` for an observation that lies in none (another site-year without them).
    pub unit_of: Vec<Option<usize>>,
    /// Positions of the treatments that were randomised to them.
    pub treatments: Vec<usize>,
}

impl Factor {
    /// A factor that is no quantity, from the label of each observation.
    #[must_use]
    pub fn of_labels(name: &str, labels: &[impl AsRef<str>]) -> Self {
        let labels: Vec<&str> = labels.iter().map(AsRef::as_ref).collect();
        let level_of = level_indices(&labels);
        let mut levels: Vec<String> = labels.into_iter().map(str::to_owned).collect();
        levels.sort_unstable();
        levels.dedup();
        Self { name: name.to_owned(), levels, level_of, rates: None }
    }

    /// A quantity, from the rate of each observation; rates within `apart` of the next lower one, as a share, count as one level, told by
    /// the most frequent of them.
    #[must_use]
    pub fn of_rates(name: &str, rates: &[f64], apart: f64) -> Self {
        let mut sorted = rates.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let mut groups: Vec<Vec<f64>> = Vec::new();
        for rate in sorted {
            match groups.last_mut() {
                Some(group) if group.last().is_some_and(|last| rate - last <= apart * rate) => group.push(rate),
                _ => groups.push(vec![rate]),
            }
        }
        let level_of = |rate: &f64| groups.partition_point(|group| group.last().is_some_and(|last| last < rate));
        let values: Vec<f64> = groups.iter().map(|group| most_frequent(group)).collect();
        Self {
            name: name.to_owned(),
            level_of: rates.iter().map(level_of).collect(),
            // A rate brought from another unit has a dozen decimals; two tell levels apart.
            levels: values.iter().map(|rate| ((rate * 100.0).round() / 100.0).to_string()).collect(),
            rates: Some(values),
        }
    }

    /// The same for some of the observations, without levels that none of them has.
    pub(super) fn of_rows(&self, rows: &[usize]) -> Self {
        let picked: Vec<usize> = rows.iter().filter_map(|row| self.level_of.get(*row).copied()).collect();
        let kept: Vec<usize> = (0..self.levels.len()).filter(|level| picked.contains(level)).collect();
        let pick = |level: &usize| kept.iter().position(|one| one == level).unwrap_or_default();
        Self {
            name: self.name.clone(),
            levels: kept.iter().filter_map(|level| self.levels.get(*level).cloned()).collect(),
            level_of: picked.iter().map(pick).collect(),
            rates: self
                .rates
                .as_ref()
                .map(|rates| kept.iter().filter_map(|level| rates.get(*level).copied()).collect()),
        }
    }
}

/// Of ascending values, the one that occurs most often; the lowest of several.
fn most_frequent(sorted: &[f64]) -> f64 {
    let mut best = (0, 0.0);
    for run in sorted.chunk_by(|a, b| a == b) {
        if let Some(value) = run.first().filter(|_| run.len() > best.0) {
            best = (run.len(), *value);
        }
    }
    best.1
}

impl Experiment {
    /// The number of observations.
    #[must_use]
    pub fn plots(&self) -> usize {
        self.yields.len()
    }

    /// The number of blocks, counted within site-years.
    #[must_use]
    pub fn block_count(&self) -> usize {
        self.blocks.iter().flatten().max().map_or(0, |last| last + 1)
    }
}

impl Experiment {
    /// The part of it in one of its site-years.
    pub(super) fn of_site_year(&self, site_year: usize) -> Self {
        let level_of = self.site_years.as_ref().map(|factor| &factor.level_of);
        let here = |row: &usize| level_of.is_none_or(|levels| levels.get(*row) == Some(&site_year));
        let rows: Vec<usize> = (0..self.plots()).filter(here).collect();
        let parts = || self.treatments.iter().map(|factor| factor.of_rows(&rows));
        // Positions of the treatments that still vary.
        let kept: Vec<usize> =
            parts().enumerate().filter(|(_, factor)| factor.levels.len() > 1).map(|(position, _)| position).collect();
        let labels = |of: &[usize]| level_indices(&rows.iter().filter_map(|row| of.get(*row)).collect::<Vec<_>>());
        let whole = |whole: &WholeUnits| {
            let units: Option<Vec<usize>> = rows.iter().map(|row| whole.unit_of.get(*row).copied().flatten()).collect();
            Some(WholeUnits {
                name: whole.name.clone(),
                error: whole.error.clone(),
                unit_of: level_indices(&units?).into_iter().map(Some).collect(),
                treatments: whole.treatments.iter().filter_map(|old| kept.iter().position(|one| one == old)).collect(),
            })
        };
        Self {
            key: self.key.clone(),
            names: rows.iter().filter_map(|row| self.names.get(*row).cloned()).collect(),
            yields: rows.iter().filter_map(|row| self.yields.get(*row).copied()).collect(),
            constant: parts()
                .filter(|factor| factor.levels.len() == 1)
                .chain(self.constant.iter().map(|factor| factor.of_rows(&rows)))
                .collect(),
            treatments: parts().filter(|factor| factor.levels.len() > 1).collect(),
            site_years: None,
            blocks: self.blocks.as_deref().map(labels),
            whole_units: self.whole_units.iter().filter_map(whole).collect(),
            design: self.design.clone(),
            left_out: Vec::new(),
            rate_unit: self.rate_unit.clone(),
            yield_unit: self.yield_unit.clone(),
        }
    }

    /// The same with the site-years as the last of its factors.
    pub(super) fn with_site_years_as_factor(&self) -> Self {
        let site_years = self.site_years.iter().map(|factor| Factor { name: SITE_YEAR.to_owned(), ..factor.clone() });
        Self { treatments: self.treatments.iter().cloned().chain(site_years).collect(), ..self.clone() }
    }
}
