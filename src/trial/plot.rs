//! One plot: its treatment, what was harvested and scored, and what of it is left out.

use serde::Serialize;

#[cfg(doc)]
use super::Trial;
use crate::units::{Density, MoisturePercent, NRate, TestWeight, Yield};

/// One plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// Its key, as typed (parts of a composite key joined by `-`).
    pub id: String,
    /// Row of the plots file, counted from 1 with the header included.
    pub row: u64,
    /// Block, where the trial has blocks.
    pub block: Option<String>,
    /// Main plot, where a column tells it.
    pub main_plot: Option<String>,
    /// Strip that runs one way through its block, where a column tells it.
    pub strip: Option<String>,
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// Level of each factor, in the order of [`Trial::factors`].
    pub factor_levels: Vec<String>,
    /// N of each application as it went on (as planned, where only that is given), in the order of [`Trial::applications`].
    pub rates: Vec<NRate>,
    /// N of each application as planned, in the same order; `None` where no plan is recorded.
    pub planned_rates: Vec<Option<NRate>>,
    /// Whether it is an N-rich reference plot.
    pub is_reference: bool,
    /// Where it lies in the field, where the trial says so.
    pub position: Option<Position>,
    /// What was harvested; `None` where the cell was missing.
    pub harvest: Option<Harvest>,
    /// Grain protein, where it was analysed.
    pub protein: Option<Protein>,
    /// Test weight, where it was taken.
    pub test_weight: Option<TestWeight>,
    /// Lodging score on the trial's own scale, where it was scored.
    pub lodging: Option<f64>,
    /// Plants counted over an area, where they were.
    pub plants: Option<Density>,
    /// Tillers counted over an area, where they were.
    pub tillers: Option<Density>,
    /// Why something of it is left out.
    pub exclusions: Vec<Exclusion>,
}

/// Where a plot lies in the field: rows and columns of plots, counted from one corner.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position {
    /// Row, from 1.
    pub row: u32,
    /// Place in the row, from 1.
    pub column: u32,
}

/// Variety and factor levels of a plot: what tells plots apart beside N, block and main plot.
pub type BesideN<'p> = (Option<&'p str>, &'p [String]);

impl Plot {
    /// Its variety, and its level of each factor.
    #[must_use]
    pub fn beside_n(&self) -> BesideN<'_> {
        (self.variety.as_deref(), &self.factor_levels)
    }

    /// The reason why `what` of this plot is left out, if it is.
    #[must_use]
    pub fn excluded(&self, what: Excluded) -> Option<&str> {
        let matching = |exclusion: &&Exclusion| exclusion.what == what || exclusion.what == Excluded::Plot;
        self.exclusions.iter().find(matching).map(|exclusion| exclusion.reason.as_str())
    }
}

/// A plot's harvest, as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Harvest {
    /// A yield, with the moisture it was taken at where it is known.
    Yield {
        /// As typed.
        quantity: Yield,
        /// Of the product as it was weighed.
        moisture: Option<MoisturePercent>,
    },
    /// A weight from an area.
    Weight {
        /// The number as typed.
        typed: f64,
        /// Kilograms harvested.
        kilograms: f64,
        /// Square metres they were harvested from.
        square_metres: f64,
        /// Of the product as it was weighed.
        moisture: Option<MoisturePercent>,
    },
}

impl Harvest {
    /// Moisture of the product as it was weighed, where it is known.
    #[must_use]
    pub fn moisture(self) -> Option<MoisturePercent> {
        match self {
            Self::Yield { moisture, .. } | Self::Weight { moisture, .. } => moisture,
        }
    }
}

/// Grain protein, as reported.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Protein {
    /// Per cent of grain at `moisture`.
    pub percent: f64,
    /// Moisture it is stated at; `None` where it is stated on the grain as it stood.
    pub moisture: Option<MoisturePercent>,
}

/// What of a plot is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Excluded {
    /// Its yield.
    Yield,
    /// Its readings.
    Readings,
    /// All of it.
    Plot,
}

/// Something left out, with the reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exclusion {
    /// What.
    pub what: Excluded,
    /// Why.
    pub reason: String,
}
