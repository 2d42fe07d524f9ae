//! Treatments and units of an experiment from factors by name.

use super::AnalysisKey;
use super::experiment::{Experiment, Factor, WholeUnits};
use crate::experiment::LeftOut;
use crate::stats::levels::level_indices;
use crate::trial::Design;

/// What an experiment is assembled from.
pub(super) struct Parts<'p> {
    pub(super) key: AnalysisKey,
    pub(super) names: Vec<String>,
    pub(super) yields: Vec<f64>,
    /// Every factor, varying or not, each with the names that the design may call it by.
    pub(super) factors: Vec<(Factor, Vec<String>)>,
    pub(super) blocks: Option<Vec<&'p str>>,
    /// What tells main plots (strips) of one treatment in a block apart.
    pub(super) unit_labels: Option<Vec<Option<&'p str>>>,
    pub(super) design: &'p Design,
    pub(super) site_years: Option<Factor>,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) rate_unit: Option<String>,
    pub(super) yield_unit: Option<String>,
}

impl Parts<'_> {
    /// The experiment: factors of one level take no part; those of the larger units come first, and quantities last among their like.
    pub(super) fn experiment(self) -> Experiment {
        let named = self.design.named_factors();
        let on_named = |names: &[String]| names.iter().any(|name| named.contains(name));
        let factors: Vec<(Factor, bool)> =
            self.factors.iter().map(|(factor, names)| (factor.clone(), on_named(names))).collect();
        let (mut factors, constant): (Vec<_>, Vec<_>) =
            factors.into_iter().partition(|(factor, _)| factor.levels.len() > 1);
        factors.sort_by_key(|(factor, named)| (!named, factor.rates.is_some()));
        let positions = |wanted: bool| -> Vec<usize> {
            factors
                .iter()
                .enumerate()
                .filter(|(_, (_, named))| *named == wanted)
                .map(|(position, _)| position)
                .collect()
        };
        let names = |positions: &[usize]| -> String {
            let names =
                positions.iter().filter_map(|position| factors.get(*position)).map(|(factor, _)| factor.name.as_str());
            names.collect::<Vec<_>>().join(" and ")
        };
        let (on_named, others) = (positions(true), positions(false));
        let site_year = |row: usize| self.site_years.as_ref().and_then(|of| of.level_of.get(row).copied());
        let plots = self.yields.len();
        let blocks = self.blocks.as_ref().map(|labels| {
            let cells: Vec<(Option<usize>, &str)> =
                labels.iter().enumerate().map(|(row, label)| (site_year(row), *label)).collect();
            level_indices(&cells)
        });
        let unit_of = |treatments: &[usize], labelled: bool| -> Vec<Option<usize>> {
            let label = |row: usize| {
                self.unit_labels.as_ref().filter(|_| labelled).and_then(|labels| labels.get(row).copied().flatten())
            };
            let levels = |row: usize| -> Vec<usize> {
                treatments.iter().filter_map(|position| factors.get(*position)?.0.level_of.get(row).copied()).collect()
            };
            let block = |row: usize| blocks.as_ref().and_then(|blocks| blocks.get(row).copied());
            let cells: Vec<_> = (0..plots).map(|row| (site_year(row), block(row), levels(row), label(row))).collect();
            level_indices(&cells).into_iter().map(Some).collect()
        };
        let whole = |name: String, error: &str, treatments: &[usize], labelled: bool| WholeUnits {
            name,
            error: error.to_owned(),
            unit_of: unit_of(treatments, labelled),
            treatments: treatments.to_vec(),
        };
        let (design, whole_units) = match self.design {
            Design::CompletelyRandomised => ("completely randomised".to_owned(), Vec::new()),
            Design::RandomisedCompleteBlock => ("randomised complete blocks".to_owned(), Vec::new()),
            Design::SplitPlot { .. } if !on_named.is_empty() => (
                format!("split-plot, {} on main plots", names(&on_named)),
                vec![whole("main plots".to_owned(), "error a", &on_named, true)],
            ),
            Design::StripPlot { .. } if !on_named.is_empty() && !others.is_empty() => (
                format!("strip-plot, {} on strips across those of {}", names(&others), names(&on_named)),
                vec![
                    whole(format!("strips of {}", names(&on_named)), "error a", &on_named, true),
                    whole(format!("strips of {}", names(&others)), "error b", &others, false),
                ],
            ),
            // What was to be on the larger units is of one level here: they do not tell treatments apart.
            Design::SplitPlot { .. } | Design::StripPlot { .. } => {
                ("randomised complete blocks".to_owned(), Vec::new())
            }
        };
        Experiment {
            key: self.key,
            names: self.names,
            yields: self.yields,
            treatments: factors.into_iter().map(|(factor, _)| factor).collect(),
            constant: constant.into_iter().map(|(factor, _)| factor).collect(),
            site_years: self.site_years.filter(|factor| factor.levels.len() > 1),
            blocks,
            whole_units,
            design,
            left_out: self.left_out,
            rate_unit: self.rate_unit,
            yield_unit: self.yield_unit,
        }
    }
}
