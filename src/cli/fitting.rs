//! Curves from any path, for the commands that print them.

use std::path::PathBuf;

use clap::Args;
use serde_json::{Map, Value};

use super::failure::Failure;
use super::flags::{FamilyFlag, IntervalFlags, OutputFlags, SeedFlag};
use super::roles::RoleFlags;
use super::source::{Source, run_season};
use crate::experiment::{FitOptions, FittedGroup, groups_of_columns};
use crate::finding::Finding;
use crate::output::Provenance;
use crate::season::{PRICE_RATIO_LEFT_OUT, Season, SeasonOptions};
use crate::trial::{Decisions, InputFile, Programme};

/// What the commands that fit curves have in common.
#[derive(Debug, Args)]
pub(super) struct FitFlags {
    /// Folder of a programme or trial, or a data file (CSV, TSV, XLSX, Parquet)
    pub(super) path: PathBuf,
    #[command(flatten)]
    pub(super) roles: RoleFlags,
    #[command(flatten)]
    family: FamilyFlag,
    #[command(flatten)]
    interval: IntervalFlags,
    #[command(flatten)]
    pub(super) seed: SeedFlag,
    #[command(flatten)]
    pub(super) output: OutputFlags,
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

impl FitFlags {
    /// Reads the path and fits every group of it.
    ///
    /// # Errors
    /// Everything that is wrong with the arguments or the input.
    pub(super) fn fit(&self, price_ratio: Option<f64>) -> Result<Fitted, Failure> {
        self.fit_at(&|_| Ok(price_ratio))
    }

    /// The same, where `settle` says what becomes of a programme's prices once it is read, and which price ratio stands in for its own.
    ///
    /// # Errors
    /// As in [`fit`](Self::fit), and those of `settle`.
    pub(super) fn fit_at(
        &self,
        settle: &dyn Fn(&mut Programme) -> Result<Option<f64>, Failure>,
    ) -> Result<Fitted, Failure> {
        self.roles.of_curves()?;
        let fitted = match Source::read(&self.path, &self.roles)? {
            Source::Columns { columns, input, warnings } => {
                let RoleFlags { rate_unit, yield_unit, .. } = self.roles.clone();
                let groups = groups_of_columns(&columns, rate_unit, yield_unit, self.roles.pooled_error()?);
                let level = self.interval.level.unwrap_or(Decisions::default().level);
                let options = self.options(level)?;
                let groups = groups.into_iter().map(|group| FittedGroup::fit(group, &options)).collect();
                let provenance = self.provenance(&options, self.roles.given(), vec![input], warnings);
                Fitted { groups, level, season: None, provenance }
            }
            Source::Programme(mut loaded) => {
                let mut warnings = loaded.warnings.clone();
                loaded.value.tables.clear();
                if let Some(level) = self.interval.level {
                    loaded.value.decisions.level = level;
                }
                let level = loaded.value.decisions.level;
                let price_ratio = settle(&mut loaded.value)?;
                let options = self.options(level)?;
                let season_options = SeasonOptions {
                    seed: options.seed,
                    price_ratio,
                    family: options.family,
                    interval: options.interval,
                    ..SeasonOptions::default()
                };
                let season = run_season(*loaded, season_options, &|_| {})?;
                // What else a season warns of stands in the results themselves.
                warnings.extend(season.warnings.iter().filter(|warning| warning.code == PRICE_RATIO_LEFT_OUT).cloned());
                let groups = season.trials.iter().flat_map(|trial| &trial.groups).cloned().collect();
                let provenance = self.provenance(&options, Map::new(), season.programme.inputs.clone(), warnings);
                Fitted { groups, level, season: Some(season), provenance }
            }
        };
        self.output.spares(&self.path, Some(&fitted.provenance.inputs))?;
        Ok(fitted)
    }

    fn options(&self, level: f64) -> Result<FitOptions, Failure> {
        Ok(FitOptions {
            family: self.family.family,
            interval: self.interval.method(self.seed)?,
            ..FitOptions::new(level, self.seed.seed)
        })
    }

    fn provenance(
        &self,
        options: &FitOptions,
        roles: Map<String, Value>,
        inputs: Vec<InputFile>,
        warnings: Vec<Finding>,
    ) -> Provenance {
        let mut all = roles;
        let fit = [
            ("level", Value::from(options.level)),
            ("interval", options.interval.name().into()),
            ("bootstrap", options.interval.bootstrap().map_or(Value::Null, |how| serde_json::json!(how))),
            ("permutations", options.permutations.into()),
            ("family", options.family.map(|family| family.name()).into()),
        ];
        all.extend(fit.map(|(name, value)| (name.to_owned(), value)));
        Provenance { inputs, options: all, seed: Some(options.seed), warnings }
    }
}
