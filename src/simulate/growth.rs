//! How the simulated crop answers to nitrogen. All rates in lb N/ac, yields in bu/ac at the programme's standard moisture.
//!
//! The shapes are chosen to be plausible and to be none of the families that are fitted: a Hill curve on a base, times a
//! logistic loss to lodging, in the N supply to the crop rather than in the rate.

/// What soil and season make of a site-year.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// Yield that unlimited N would approach without lodging, bu/ac.
    pub yield_potential: f64,
    /// Share of the potential that stands without any N, 0 to 1.
    pub base_share: f64,
    /// N supply at which half of the response to N is reached, lb/ac.
    pub half_supply: f64,
    /// Exponent of the Hill curve; above 1 the curve is S-shaped at very low supply.
    pub steepness: f64,
    /// N that the soil supplies over the whole season, lb/ac.
    pub soil_supply: f64,
    /// Share of the soil supply that the crop has had by the sensing date, 0 to 1.
    pub soil_shown_at_sensing: f64,
    /// Share of N applied before sensing that reaches the crop, 0 to 1.
    pub early_efficiency: f64,
    /// Share of N applied as topdress that reaches the crop, 0 to 1.
    pub topdress_efficiency: f64,
    /// Share of the yield lost where lodging is complete, 0 to 1.
    pub lodging_loss: f64,
    /// N supply at which half of that loss is reached, lb/ac.
    pub lodging_supply: f64,
}

/// A variety as instruments and the combine see it.
#[derive(Debug, Clone, PartialEq)]
pub struct Variety {
    /// Its name, as typed in the trial's files.
    pub name: String,
    /// Its yield relative to the site-year's potential.
    pub yield_factor: f64,
    /// Leaf chlorophyll reading that ample N approaches.
    pub greenness: f64,
    /// NDVI of its closed canopy.
    pub closed_canopy_ndvi: f64,
    /// Leaf area relative to other varieties at the same N.
    pub leafiness: f64,
}

/// NDVI of the bare soil between rows.
const BARE_SOIL_NDVI: f64 = 0.18;
/// Leaf area index of a well-fed canopy at the sensing date.
const FULL_LEAF_AREA: f64 = 4.5;
/// Extinction of NDVI with leaf area: crowds at 0.8 to 0.9 near a leaf area index of 4.
const EXTINCTION: f64 = 0.6;
/// Width of the lodging curve, lb/ac of supply.
const LODGING_WIDTH: f64 = 12.0;
/// Demand for N by the sensing date, as a share of the half supply.
const DEMAND_AT_SENSING: f64 = 0.9;
/// How much of yield, and so of demand, a thin stand loses: tillering makes up for most of it.
const STAND_EXPONENT: f64 = 0.2;
/// How much of leaf area a thin stand loses: by the sensing date hardly any of it is made up.
const STAND_LEAF_EXPONENT: f64 = 0.9;

/// What of the crop is there on a sensing date, against the main one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Progress {
    /// Share of the early N that the crop has had, against the main date.
    pub early_shown: f64,
    /// Leaf area against the main date.
    pub leaf_area: f64,
}

impl Progress {
    /// The date on which a rate is decided, around Feekes 5 or 6.
    pub const AT_SENSING: Progress = Progress { early_shown: 1.0, leaf_area: 1.0 };
    /// Three weeks after green-up: some of the N shows, and the canopy is open.
    pub const EARLY: Progress = Progress { early_shown: 0.45, leaf_area: 0.45 };
}

impl Growth {
    /// N supply over the season, lb/ac.
    pub(super) fn supply(&self, early: f64, topdress: f64) -> f64 {
        self.soil_supply + self.early_efficiency * early + self.topdress_efficiency * topdress
    }

    /// Grain yield, bu/ac. `stand` is the share of a full stand.
    pub(super) fn grain_yield(&self, variety: &Variety, supply: f64, stand: f64) -> f64 {
        let size = stand.powf(STAND_EXPONENT);
        let half = self.half_supply * size;
        let fed = hill(supply, half, self.steepness);
        let lodged = self.lodging_loss / (1.0 + (-(supply - self.lodging_supply) / LODGING_WIDTH).exp());
        let share = self.base_share + (1.0 - self.base_share) * fed;
        self.yield_potential * variety.yield_factor * size * share * (1.0 - lodged)
    }

    /// N that the crop has had by a sensing date, relative to its demand by then. `soil` adds to the soil supply, lb/ac.
    pub(super) fn status(&self, early: f64, soil: f64, stand: f64, progress: Progress) -> f64 {
        let had = self.soil_shown_at_sensing * (self.soil_supply + soil).max(0.0)
            + self.early_efficiency * progress.early_shown * early;
        had / (DEMAND_AT_SENSING * self.half_supply * stand.powf(STAND_EXPONENT))
    }
}

impl Variety {
    /// Leaf chlorophyll reading at an N status. A thin stand does not change the colour of its leaves.
    pub(super) fn leaf_reading(&self, status: f64) -> f64 {
        self.greenness * (0.58 + 0.42 * hill(status, 0.6, 2.0))
    }

    /// Canopy NDVI at an N status. `lush` is leaf area against the average plot.
    pub(super) fn canopy_ndvi(&self, status: f64, stand: f64, lush: f64, progress: Progress) -> f64 {
        let fed = 0.10 + 0.90 * hill(status, 0.9, 1.6);
        let leaf_area =
            FULL_LEAF_AREA * self.leafiness * fed * lush * progress.leaf_area * stand.powf(STAND_LEAF_EXPONENT);
        let covered = 1.0 - (-EXTINCTION * leaf_area).exp();
        BARE_SOIL_NDVI + (self.closed_canopy_ndvi - BARE_SOIL_NDVI) * covered
    }
}

/// Grain protein at 12 % moisture, percent: what N is left once yield is made.
pub(super) fn protein(growth: &Growth, supply: f64) -> f64 {
    8.8 + 5.0 * hill(supply, 2.4 * growth.half_supply, 2.5)
}

/// The best rate of a topdress or of all N: the largest of yield minus `price_ratio` × rate over 0 to `highest` lb/ac,
/// searched in tenths, where the truth is rounded too.
pub(super) fn best_rate(yield_at: impl Fn(f64) -> f64, price_ratio: f64, highest: u32) -> f64 {
    let mut best = (0.0, f64::NEG_INFINITY);
    for tenth in 0..=highest.saturating_mul(10) {
        let rate = f64::from(tenth) / 10.0;
        let net = yield_at(rate) - price_ratio * rate;
        if net > best.1 {
            best = (rate, net);
        }
    }
    best.0
}

/// xᵖ / (xᵖ + halfᵖ), 0 at and below nothing.
fn hill(x: f64, half: f64, power: f64) -> f64 {
    let (x, half) = (x.max(0.0).powf(power), half.powf(power));
    if x > 0.0 { x / (x + half) } else { 0.0 }
}
