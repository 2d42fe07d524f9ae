//! A season with all that can be drawn of it, for the commands that draw or report.

use std::path::{Path, PathBuf};

use clap::Args;

use super::earlier::{Change, EarlierFlag};
use super::failure::Failure;
use super::flags::{PriceFlags, SeedFlag};
use super::paper::WordingFlags;
use super::source::{holds, read_programme, run_season, season_failure};
use crate::experiment::anova::Analysed;
use crate::figures::{NamedFigure, Wording, season_figures};
use crate::season::{Season, SeasonOptions};

#[derive(Debug, Args)]
pub(super) struct DrawnSeasonFlags {
    /// Folder of a programme or trial
    path: PathBuf,
    #[command(flatten)]
    earlier: EarlierFlag,
    #[command(flatten)]
    wording: WordingFlags,
    #[command(flatten)]
    prices: PriceFlags,
    #[command(flatten)]
    seed: SeedFlag,
}

/// A season, and what it looks like in the wording that is asked for.
pub(super) struct DrawnSeason {
    pub(super) season: Season,
    pub(super) analysed: Vec<Analysed>,
    pub(super) wording: Wording,
    /// Its tables against those of earlier seasons.
    pub(super) changes: Vec<Change>,
    pub(super) figures: Vec<NamedFigure>,
}

impl DrawnSeasonFlags {
    /// Runs the season; `out` is where files are to go.
    ///
    /// # Errors
    /// Flags and files that can't be used, before anything is computed; no season; an earlier table that is for another use.
    pub(super) fn run(&self, out: &Path) -> Result<DrawnSeason, Failure> {
        let price_ratio = self.prices.ratio()?;
        let earlier = self.earlier.read()?;
        let loaded = read_programme(&self.path)?;
        if holds(out, &self.path) {
            let text = format!("--out {} is or holds the programme: name a folder of its own", out.display());
            return Err(Failure::usage(text));
        }
        let wording = self.wording.wording(&loaded.value)?;
        let options = SeasonOptions { seed: self.seed.seed, price_ratio, ..SeasonOptions::default() };
        let season = run_season(loaded, options, &|_| {})?;
        let analysed = season.analyses().map_err(|error| season_failure(&error, &season.programme.crop.name))?;
        let (changes, beside_earlier) = earlier.against(&season, &wording)?;
        let mut figures = season_figures(&season, &analysed, &wording);
        figures.extend(beside_earlier);
        Ok(DrawnSeason { season, analysed, wording, changes, figures })
    }
}
