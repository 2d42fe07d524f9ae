//! Readings: the instrument, the day, the leaf, and where each stands.

use std::num::NonZeroU8;

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::GrowthStage;
#[cfg(doc)]
use super::Trial;

/// The kind of an instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Instrument {
    /// Canopy NDVI.
    CanopyNdvi,
    /// Leaf chlorophyll reading.
    LeafChlorophyll,
}

impl Instrument {
    /// Every kind.
    pub const ALL: [Self; 2] = [Self::CanopyNdvi, Self::LeafChlorophyll];

    /// The name it is typed as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::CanopyNdvi => "canopy-ndvi",
            Self::LeafChlorophyll => "leaf-chlorophyll",
        }
    }

    /// The kind typed as `name`.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|instrument| instrument.name() == name)
    }
}

/// A column that readings stand in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingColumn {
    /// Position in [`Trial::reading_files`].
    pub file: usize,
    /// Its header, as the descriptor names it.
    pub header: String,
}

/// One reading of one plot. A trial may hold a million: each is 64 bytes.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Position in [`Trial::plots`].
    pub plot: usize,
    /// Instrument.
    pub instrument: Instrument,
    /// Day it was taken.
    pub date: Date,
    /// Growth stage, where it was scored.
    pub stage: Option<GrowthStage>,
    /// Leaf, or pass of a canopy sensor, where they are numbered.
    pub leaf: Option<u32>,
    /// Where on the plant the leaf sat, counted from 1 in [`Trial::leaf_positions`].
    pub position: Option<NonZeroU8>,
    /// As typed; of red and near-infrared reflectance their NDVI.
    pub value: f64,
    /// Position in [`Trial::reading_columns`] of the column it stands in.
    pub column: u32,
    /// Row of its file.
    pub row: u32,
}

/// The instruments and dates of readings that are in the order of [`Trial::readings`].
#[must_use]
pub fn sensings(readings: &[Reading]) -> Vec<(Instrument, Date)> {
    let sensing = |reading: &Reading| (reading.instrument, reading.date);
    let mut sensings = Vec::new();
    let mut rest = readings;
    while let Some(next) = rest.first().map(sensing) {
        sensings.push(next);
        let behind = rest.partition_point(|reading| sensing(reading) <= next);
        rest = rest.get(behind..).unwrap_or_default();
    }
    sensings
}
