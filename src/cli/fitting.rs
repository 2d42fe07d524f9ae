//! Curves from any path, for the commands that print them.

use std::path::Path;

use serde_json::{Map, Value};

use super::failure::Failure;
use super::flags::{FamilyFlag, IntervalFlags, RoleFlags, SeedFlag};
use super::source::{Source, run_season};
use crate::experiment::{FitOptions, FittedGroup};
use crate::output::Provenance;
use crate::season::{Season, SeasonOptions};
use crate::trial::Decisions;

/// What is asked of the fits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked {
    /// The family to take.
    pub(super) family: FamilyFlag,
    /// How intervals are made.
    pub(super) interval: IntervalFlags,
    /// The seed of the permutations.
    pub(super) seed: SeedFlag,
    /// A price ratio.
    pub(super) price_ratio: Option<f64>,
}

/// Fitted groups and where they come from.
pub(super) struct Fitted {
    /// The groups.
    pub(super) groups: Vec<FittedGroup>,
    /// The level of their intervals.
    pub(super) level: f64,
    /// The season they are part of, without tables; `None` for a bare data file.
    pub(super) season: Option<Season>,
    /// Inputs, options, seed and warnings.
    pub(super) provenance: Provenance,
}

/// Reads a path and fits every group of it.
///
/// # Errors
/// Everything that is wrong with the arguments or the input.
pub(super) fn fit(path: &Path, roles: &RoleFlags, asked: Asked) -> Result<Fitted, Failure> {
    match Source::read(path, roles)? {
        Source::Columns { groups, input, warnings } => {
            let level = asked.interval.level.unwrap_or(Decisions::default().level);
            let options = asked.fit_options(level);
            let groups = groups.into_iter().map(|group| FittedGroup::fit(group, &options)).collect();
            let provenance = asked.provenance(&options, roles.given(), vec![input], warnings);
            Ok(Fitted { groups, level, season: None, provenance })
        }
        Source::Programme(mut loaded) => {
            let warnings = loaded.warnings.clone();
            loaded.value.tables.clear();
            if let Some(level) = asked.interval.level {
                loaded.value.decisions.level = level;
            }
            let level = loaded.value.decisions.level;
            let options = asked.fit_options(level);
            let season_options = SeasonOptions {
                seed: options.seed,
                price_ratio: asked.price_ratio,
                family: options.family,
                ..SeasonOptions::default()
            };
            let season = run_season(*loaded, season_options, &|_| {})?;
            let groups = season.trials.iter().flat_map(|trial| &trial.groups).cloned().collect();
            let provenance = asked.provenance(&options, Map::new(), season.programme.inputs.clone(), warnings);
            Ok(Fitted { groups, level, season: Some(season), provenance })
        }
    }
}

impl Asked {
    fn fit_options(self, level: f64) -> FitOptions {
        FitOptions { family: self.family.family, ..FitOptions::new(level, self.seed.seed) }
    }

    fn provenance(
        self,
        options: &FitOptions,
        roles: Map<String, Value>,
        inputs: Vec<crate::trial::InputFile>,
        warnings: Vec<crate::finding::Finding>,
    ) -> Provenance {
        let mut all = roles;
        let fit = [
            ("level", Value::from(options.level)),
            ("interval", self.interval.method().into()),
            ("permutations", options.permutations.into()),
            ("family", options.family.map(|family| family.name()).into()),
        ];
        all.extend(fit.map(|(name, value)| (name.to_owned(), value)));
        Provenance { inputs, options: all, seed: Some(options.seed), warnings }
    }
}
