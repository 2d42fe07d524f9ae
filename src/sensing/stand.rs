//! Stand or N? What of a low canopy reading is a thin stand, where plants or tillers were counted, and what a leaf meter says of it.
//!
//! A canopy sensor sees leaves against soil: it reads low where N is short and where the stand is thin. The colour of a leaf does not hang on
//! how many stand beside it, so a leaf meter tells the two apart.

use jiff::civil::Date;

use super::index::PlotIndex;
use super::stand_model::StandModel;
use crate::trial::{Plot, Trial};
use crate::units::{Density, NRateUnit};

/// An index below this is low: a row of a table is commonly 0.05 high (common practice).
pub const LOW_INDEX: f64 = 0.95;
/// A stand below this share of the full one is thin, where the programme says nothing else: what is missing of more, tillering makes good
/// (common practice).
pub const THIN_SHARE: f64 = 0.80;
/// Where the stand was not counted, a leaf meter must read this much nearer to its reference than the canopy sensor before the two are
/// said to differ: twice a row of a table, as N itself pulls a canopy index lower than a leaf index.
pub const SENSORS_APART: f64 = 0.10;

/// What was counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Counted {
    /// Tillers (shoots).
    Tillers,
    /// Plants.
    Plants,
}

impl Counted {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Tillers => "tillers",
            Self::Plants => "plants",
        }
    }

    fn of(self, plot: &Plot) -> Option<f64> {
        match self {
            Self::Tillers => plot.tillers,
            Self::Plants => plot.plants,
        }
        .map(Density::per_square_metre)
    }
}

/// The stand of a trial.
#[derive(Clone, Debug, PartialEq)]
pub struct StandCounts {
    /// What was counted.
    pub counted: Counted,
    /// Plots counted.
    pub plots: usize,
    /// The full stand, a square metre: the median of all plots, or that of the N-rich reference plots where it is higher, since those are
    /// what the canopy is read against.
    pub full: f64,
    /// Below this a stand is thin, a square metre.
    pub thin_below: f64,
    /// Whether the programme said so; otherwise it is [`THIN_SHARE`] of the full stand.
    pub declared: bool,
    /// Plots with a thin stand.
    pub thin: usize,
}

impl StandCounts {
    /// The stand of a trial, where it was counted.
    pub(super) fn of(trial: &Trial, thin_stand_below: Option<Density>) -> Option<Self> {
        stand_counts(trial, counted(trial)?, thin_stand_below)
    }

    /// Whether a plot was counted and is thin.
    #[must_use]
    pub fn is_thin(&self, plot: &Plot) -> bool {
        self.counted.of(plot).is_some_and(|stand| stand < self.thin_below)
    }
}

/// What a low canopy index comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LowBecause {
    /// A thin stand: extra N there may not pay.
    ThinStand,
    /// A thin stand, and N is short too.
    ThinStandAndN,
    /// A thin stand; nothing tells whether N is short too.
    ThinStandAtLeast,
    /// N is short.
    Nitrogen,
    /// Not N, by the leaf meter: a thin stand that was not counted, or another cause.
    NotNitrogen,
}

impl LowBecause {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::ThinStand => "thin-stand",
            Self::ThinStandAndN => "thin-stand-and-n",
            Self::ThinStandAtLeast => "thin-stand-at-least",
            Self::Nitrogen => "n",
            Self::NotNitrogen => "not-n",
        }
    }
}

/// A plot with a low canopy index, and why it is low.
#[derive(Clone, Debug, PartialEq)]
pub struct LowPlot {
    /// Position in [`Trial::plots`].
    pub plot: usize,
    /// Why.
    pub because: LowBecause,
    /// Its canopy index.
    pub index: f64,
    /// Its stand, a square metre.
    pub stand: Option<f64>,
    /// What the index would be at a full stand, by the model.
    pub at_full_stand: Option<f64>,
    /// Its index by the leaf meter.
    pub leaf_index: Option<f64>,
}

/// What stand and N make of the canopy index of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Stand {
    /// The stand, where it was counted.
    pub counts: Option<StandCounts>,
    /// The canopy index explained by stand and early N, where that can be estimated.
    pub model: Option<StandModel>,
    /// The day of the leaf readings, where there are any within a few days.
    pub leaf_date: Option<Date>,
    /// Plots with a low canopy index whose cause can be told.
    pub low: Vec<LowPlot>,
}

impl Stand {
    /// Explains the canopy indices of a day; `None` where neither the stand was counted nor leaves were read.
    pub(super) fn of(
        trial: &Trial,
        date: Date,
        unit: NRateUnit,
        canopy: &[PlotIndex],
        leaf: Option<(Date, &[PlotIndex])>,
        counts: Option<StandCounts>,
        level: f64,
    ) -> Option<Self> {
        if counts.is_none() && leaf.is_none() {
            return None;
        }
        let model = counts.as_ref().and_then(|counts| {
            let stand = |plot: &Plot| counts.counted.of(plot);
            StandModel::of(trial, date, unit, canopy, stand, counts.full, level)
        });
        let leaf_index = |plot: usize| {
            let (_, read) = leaf?;
            let position = read.binary_search_by_key(&plot, |read| read.reading.plot).ok()?;
            read.get(position)?.index.as_ref().ok().map(|indexed| indexed.index)
        };
        let low = canopy.iter().filter(|read| !read.is_reference).filter_map(|read| {
            let index = read.index.as_ref().ok()?.index;
            let plot = trial.plots.get(read.reading.plot).filter(|_| index < LOW_INDEX)?;
            let stand = counts.as_ref().and_then(|counts| counts.counted.of(plot));
            let at_full_stand = model.as_ref().zip(stand).and_then(|(model, stand)| model.at_full_stand(index, stand));
            let is_thin = counts.as_ref().zip(stand).map(|(counts, stand)| stand < counts.thin_below);
            let leaf_index = leaf_index(read.reading.plot);
            let because = because(index, is_thin, at_full_stand, leaf_index)?;
            Some(LowPlot { plot: read.reading.plot, because, index, stand, at_full_stand, leaf_index })
        });
        let low = low.collect();
        Some(Self { counts, model, leaf_date: leaf.map(|(date, _)| date), low })
    }
}

/// Why an index is low; `None` where nothing tells.
fn because(
    index: f64,
    is_thin: Option<bool>,
    at_full_stand: Option<f64>,
    leaf_index: Option<f64>,
) -> Option<LowBecause> {
    let is_green = leaf_index.map(|leaf| leaf >= LOW_INDEX);
    Some(match (is_thin, is_green) {
        (Some(true), Some(true)) => LowBecause::ThinStand,
        (Some(true), Some(false)) => LowBecause::ThinStandAndN,
        (Some(true), None) => match at_full_stand {
            Some(at_full) if at_full >= LOW_INDEX => LowBecause::ThinStand,
            Some(_) => LowBecause::ThinStandAndN,
            None => LowBecause::ThinStandAtLeast,
        },
        (_, Some(true)) if leaf_index.is_some_and(|leaf| leaf - index >= SENSORS_APART) => LowBecause::NotNitrogen,
        (_, Some(false)) => LowBecause::Nitrogen,
        (Some(false), None) => LowBecause::Nitrogen,
        (_, Some(true)) | (None, None) => return None,
    })
}

/// Tillers where any were counted: they say more of a canopy than plants.
fn counted(trial: &Trial) -> Option<Counted> {
    let any = |counted: Counted| trial.plots.iter().any(|plot| counted.of(plot).is_some());
    [Counted::Tillers, Counted::Plants].into_iter().find(|counted| any(*counted))
}

fn stand_counts(trial: &Trial, counted: Counted, thin_stand_below: Option<Density>) -> Option<StandCounts> {
    let counts = |rich_only: bool| -> Vec<f64> {
        let plots = trial.plots.iter().filter(|plot| plot.is_reference || !rich_only);
        plots.filter_map(|plot| counted.of(plot)).collect()
    };
    let mut all = counts(false);
    let plots = all.len();
    let median = super::far_leaves::median(&mut all)?;
    let full = super::far_leaves::median(&mut counts(true)).map_or(median, |rich| rich.max(median));
    // What the programme declares is tillers; plants are fewer.
    let declared = thin_stand_below.filter(|_| counted == Counted::Tillers).map(Density::per_square_metre);
    let thin_below = declared.unwrap_or(THIN_SHARE * full);
    let thin = all.iter().filter(|stand| **stand < thin_below).count();
    (full > 0.0).then_some(StandCounts { counted, plots, full, thin_below, declared: declared.is_some(), thin })
}
