//! The folder of all trials: units, prices, decisions and the tables wanted.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{GrowthStage, Instrument, Trial};
use crate::crop::Crop;
use crate::units::{AreaUnit, Density, MassUnit, MoisturePercent, NRateUnit, YieldUnit};

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
    /// What making an application costs, whatever its rate.
    pub pass_cost: Option<PassCost>,
    /// What protein adds to the price of grain.
    pub protein_premium: Option<ProteinPremium>,
    /// What lodging takes from the yield.
    pub lodging_loss: Option<LodgingLoss>,
}

impl Prices {
    /// Prices of grain and N, nothing else said.
    #[must_use]
    pub fn new(grain: GrainPrice, nitrogen: NitrogenPrice) -> Self {
        Self {
            grain,
            nitrogen,
            other_price_ratios: Vec::new(),
            pass_cost: None,
            protein_premium: None,
            lodging_loss: None,
        }
    }
}

/// What a unit of harvested product brings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GrainPrice {
    /// Money.
    pub price: f64,
    /// Per this mass.
    pub per: MassUnit,
    /// How far it may turn out otherwise, where that is told.
    pub spread: Option<PriceSpread>,
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
    /// How far it may turn out otherwise, where that is told.
    pub spread: Option<PriceSpread>,
}

/// How a price that is not known yet is distributed around the one that is expected, in the money and mass of that price.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PriceSpread {
    /// Triangular, its mode the price.
    Triangular {
        /// No price is lower; above 0.
        lowest: f64,
        /// No price is higher.
        highest: f64,
    },
    /// Normal around the price, cut off at 0.
    Normal {
        /// Standard deviation before it is cut off.
        standard_deviation: f64,
    },
}

/// A price is not expected to turn out this many times higher or lower.
const FARTHEST_PRICE: f64 = 100.0;

/// Why a spread does not go with its price.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SpreadFault {
    /// The price, which is the most likely one, lies outside.
    #[error("the price {price} is not within {lowest} to {highest}")]
    PriceOutside {
        /// The price.
        price: f64,
        /// Lowest.
        lowest: f64,
        /// Highest.
        highest: f64,
    },
    /// An end that no price of anything would reach.
    #[error("{0} is more than a hundred times off the price")]
    FarOff(f64),
    /// A standard deviation that is none of a price.
    #[error("{0} is no standard deviation of a price: it is above 0 and at most the price")]
    NoDeviation(f64),
}

impl PriceSpread {
    /// A triangular one from `lowest` to `highest` with its mode at `price`.
    ///
    /// # Errors
    /// [`SpreadFault`] where the price lies outside, or an end is absurd.
    pub fn triangular(price: f64, lowest: f64, highest: f64) -> Result<Self, SpreadFault> {
        let believable = price / FARTHEST_PRICE..=price * FARTHEST_PRICE;
        if let Some(far) = [lowest, highest].into_iter().find(|end| !believable.contains(end)) {
            return Err(SpreadFault::FarOff(far));
        }
        if !(lowest..=highest).contains(&price) {
            return Err(SpreadFault::PriceOutside { price, lowest, highest });
        }
        Ok(Self::Triangular { lowest, highest })
    }

    /// A normal one around `price`, cut off at 0.
    ///
    /// # Errors
    /// [`SpreadFault::NoDeviation`] where the standard deviation is not above 0 and at most the price.
    pub fn normal(price: f64, standard_deviation: f64) -> Result<Self, SpreadFault> {
        if standard_deviation > 0.0 && standard_deviation <= price {
            Ok(Self::Normal { standard_deviation })
        } else {
            Err(SpreadFault::NoDeviation(standard_deviation))
        }
    }
}

/// What making an application costs, whatever its rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PassCost {
    /// Money.
    pub price: f64,
    /// Over this area.
    pub per: AreaUnit,
}

/// What protein adds to the price of grain, or takes from it.
#[derive(Clone, Debug, PartialEq)]
pub struct ProteinPremium {
    /// Moisture that the steps are stated at; `None` takes the protein of a plot as it is reported.
    pub moisture: Option<MoisturePercent>,
    /// Steps by rising protein. Below the first the price is the base price.
    pub steps: Vec<PremiumStep>,
}

/// From a protein content on, what is added to the price.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PremiumStep {
    /// Protein, per cent: from here on.
    pub from: f64,
    /// Money added to the price of grain, per the mass that it is per; negative where it is taken off. Steps do not add up: the last
    /// one reached holds.
    pub add: f64,
}

/// Yield that lodged grain loses in a farm's harvest and did not lose in that of the plots: a straight line through nothing lost at a
/// score of 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LodgingLoss {
    /// Per cent of the yield lost at `at_score`.
    pub yield_percent: f64,
    /// The lodging score of a plot that lies flat, on the trials' own scale; no score is higher.
    pub at_score: f64,
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
    /// What becomes of leaves that read far from the rest of their plot.
    pub flagged_leaves: FlaggedLeaves,
    /// Fewer tillers than this are a thin stand; `None` leaves it to the trial's own median.
    pub thin_stand_below: Option<Density>,
}

/// What becomes of leaves that read far from the rest of their plot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FlaggedLeaves {
    /// They count like the others.
    #[default]
    Keep,
    /// Means and indices are made without them.
    LeaveOut,
}

impl Default for Decisions {
    fn default() -> Self {
        Self {
            near_optimum_within: NearOptimumWithin::Percent(1.0),
            standard_topdress: None,
            days_to_show_in_canopy: 14,
            level: 0.95,
            flagged_leaves: FlaggedLeaves::default(),
            thin_stand_below: None,
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
    /// A straight line of a latent need; a non-positive need is left-censored at zero, as it is in every kind but the plain line.
    LinearWithFloor,
    /// A curve that bends one way: the need changes by a constant factor over equal steps of the index, about an asymptote.
    Exponential,
    /// One stage: yields of early × topdress trials by how far the topdress falls short of a need that is a line in the index.
    ShortfallLinear,
    /// The same with a need that is a parabola.
    ShortfallQuadratic,
    /// The same with a need that is a quadratic spline, its knots at the quartiles of the early levels' indices.
    ShortfallSpline,
}

impl RelationKind {
    /// Every kind, simplest first.
    pub const ALL: [Self; 7] = [
        Self::Linear,
        Self::LinearWithFloor,
        Self::Quadratic,
        Self::Exponential,
        Self::ShortfallLinear,
        Self::ShortfallQuadratic,
        Self::ShortfallSpline,
    ];

    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Linear => "linear",
            Self::Quadratic => "quadratic",
            Self::LinearWithFloor => "linear-with-floor",
            Self::Exponential => "exponential",
            Self::ShortfallLinear => "shortfall-linear",
            Self::ShortfallQuadratic => "shortfall-quadratic",
            Self::ShortfallSpline => "shortfall-spline",
        }
    }

    /// The kinds that validation chooses among where none is asked for, those first that forgo least on simulated programmes: the first that
    /// is not told from the best is taken. The exponential is not among them: it is searched a dozen times as long, and within the indices of its
    /// points a parabola bends as well.
    pub const CHOSEN_AMONG: [Self; 6] = [
        Self::ShortfallSpline,
        Self::ShortfallQuadratic,
        Self::ShortfallLinear,
        Self::Linear,
        Self::LinearWithFloor,
        Self::Quadratic,
    ];

    /// Whether it is fitted to the yields themselves, not to needs counted from their optima.
    #[must_use]
    pub fn is_one_stage(self) -> bool {
        matches!(self, Self::ShortfallLinear | Self::ShortfallQuadratic | Self::ShortfallSpline)
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

impl Outside {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::NoRate => "no-rate",
            Self::NearestRow => "nearest-row",
        }
    }
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
    /// The smallest rate worth a pass: what would be less is no application at all. 0 where every rate is.
    pub smallest: f64,
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
    /// The relation the rates come from; `None` leaves the choice to validation on held-out site-years.
    pub relation: Option<RelationKind>,
    /// The varieties whose points it is made of, as typed; empty takes all.
    pub varieties: Vec<String>,
    /// Sensing date to take, by trial folder, where several qualify.
    pub sensing_dates: BTreeMap<String, jiff::civil::Date>,
    /// Whether its file carries the plots' yields, from which it can be repriced and its moves explained.
    pub share_plots: bool,
}

/// A trial folder that does not take part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Its folder.
    pub folder: String,
    /// Why.
    pub reason: String,
}
