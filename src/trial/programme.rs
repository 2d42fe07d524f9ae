//! The folder of all trials: units, prices, decisions and the tables wanted.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{GrowthStage, Instrument, Trial};
use crate::crop::Crop;
use crate::units::{MassUnit, MoisturePercent, NRateUnit, YieldUnit};

/// A file that was read, with the digest of its bytes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct InputFile {
    /// Path, relative to the programme where there is one, with forward slashes.
    pub file: String,
    /// SHA-256 of the bytes, lower-case hexadecimal.
    pub sha256: String,
}

/// A programme: every trial that takes part, and how results are wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Programme {
    /// Title, as typed.
    pub title: String,
    /// The crop of every trial.
    pub crop: Crop,
    /// Currency of the prices, as typed.
    pub currency: String,
    /// Units of every result.
    pub units: ResultUnits,
    /// Prices, where the programme gives them.
    pub prices: Option<Prices>,
    /// Decisions of the programme.
    pub decisions: Decisions,
    /// Weight of a trial's site-year in the best common rate, by trial folder; 1 where none is given. At least 0.
    pub site_year_weights: BTreeMap<String, f64>,
    /// The rate tables wanted.
    pub tables: Vec<TableSpecification>,
    /// Trials that take part, in order of harvest year, then folder.
    pub trials: Vec<Trial>,
    /// Trial folders left out, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Every file read, in order of path.
    pub inputs: Vec<InputFile>,
}

/// Units and moisture of every result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResultUnits {
    /// Unit of N rates.
    pub n_rate: NRateUnit,
    /// Unit of yields.
    pub yields: YieldUnit,
    /// Moisture that yields are brought to; `None` leaves them as they stand.
    pub standard_moisture: Option<MoisturePercent>,
}

impl ResultUnits {
    /// The same in kg/ha.
    #[must_use]
    pub fn si(self) -> Self {
        Self { n_rate: NRateUnit::KilogramsPerHectare, yields: YieldUnit::KilogramsPerHectare, ..self }
    }

    /// The same in lb/ac, yields in bu/ac where the crop is sold by the bushel.
    #[must_use]
    pub fn us(self, crop: &Crop) -> Self {
        let by_bushel = crop.pounds_per_bushel.is_some();
        let yields = if by_bushel { YieldUnit::BushelsPerAcre } else { YieldUnit::PoundsPerAcre };
        Self { n_rate: NRateUnit::PoundsPerAcre, yields, ..self }
    }
}

/// Price ratios of one table differ by more than this share: a lookup must tell them apart.
pub const PRICE_RATIOS_APART: f64 = 0.01;

/// No price of N over a price of yield is above this, in any units.
pub const LARGEST_PRICE_RATIO: f64 = 1e6;

/// Whether two price ratios are so near to each other that they count as one.
#[must_use]
pub fn is_same_price_ratio(one: f64, other: f64) -> bool {
    (one - other).abs() <= PRICE_RATIOS_APART * one.max(other)
}

/// Prices of grain and N, and other price ratios to derive tables at.
#[derive(Clone, Debug, PartialEq)]
pub struct Prices {
    /// Price of the harvested product.
    pub grain: GrainPrice,
    /// Price of the N product.
    pub nitrogen: NitrogenPrice,
    /// Further price ratios: price of one rate unit of N ÷ price of one yield unit.
    pub other_price_ratios: Vec<f64>,
}

/// What a unit of harvested product brings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GrainPrice {
    /// Money.
    pub price: f64,
    /// Per this mass.
    pub per: MassUnit,
}

/// What a unit of N product costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NitrogenPrice {
    /// Money.
    pub price: f64,
    /// Per this mass of product.
    pub per: MassUnit,
    /// N in the product, per cent by weight.
    pub n_percent: f64,
}

/// How far from the best net return a rate may be to count as near-optimum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NearOptimumWithin {
    /// Per cent of the best net return.
    Percent(f64),
    /// Money an area unit of the yield.
    Money(f64),
}

/// Decisions that a programme takes once for all its trials.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decisions {
    /// Tolerance of the near-optimum range.
    pub near_optimum_within: NearOptimumWithin,
    /// The programme's standard topdress, in its rate unit.
    pub standard_topdress: Option<f64>,
    /// N younger than this at sensing draws a warning, days.
    pub days_to_show_in_canopy: i32,
    /// Level of every interval, 0 to 1.
    pub level: f64,
}

impl Default for Decisions {
    fn default() -> Self {
        Self {
            near_optimum_within: NearOptimumWithin::Percent(1.0),
            standard_topdress: None,
            days_to_show_in_canopy: 14,
            level: 0.95,
        }
    }
}

/// How N need is taken to depend on the index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RelationKind {
    /// A straight line.
    Linear,
    /// A parabola.
    Quadratic,
    /// A straight line of a latent need; a non-positive need is left-censored at zero.
    LinearWithFloor,
}

impl RelationKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Linear, Self::Quadratic, Self::LinearWithFloor];

    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Linear => "linear",
            Self::Quadratic => "quadratic",
            Self::LinearWithFloor => "linear-with-floor",
        }
    }
}

/// What a table does with an index outside its rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outside {
    /// No rate.
    NoRate,
    /// The nearest row's rate, flagged.
    NearestRow,
}

/// Rows of a table, in thousandths of the index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct IndexRange {
    /// Lower edge of the first row.
    pub lowest: u32,
    /// Upper edge of the last row.
    pub highest: u32,
    /// Height of a row.
    pub step: u32,
}

/// Rounding and ceiling of a table's rates, in the programme's rate unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateLimits {
    /// Rates are multiples of this.
    pub round_to: f64,
    /// No rate is higher.
    pub highest: f64,
}

/// A rate table that the programme wants.
#[derive(Clone, Debug, PartialEq)]
pub struct TableSpecification {
    /// Name, used for its files.
    pub name: String,
    /// The instrument it reads.
    pub instrument: Instrument,
    /// First and last growth stage it is for.
    pub stages: (GrowthStage, GrowthStage),
    /// Rows.
    pub index: IndexRange,
    /// Rounding and ceiling.
    pub rate: RateLimits,
    /// Outside the rows.
    pub outside: Outside,
    /// The relation the rates come from.
    pub relation: RelationKind,
    /// Sensing date to take, by trial folder, where several qualify.
    pub sensing_dates: BTreeMap<String, jiff::civil::Date>,
}

/// A trial folder that does not take part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Its folder.
    pub folder: String,
    /// Why.
    pub reason: String,
}
