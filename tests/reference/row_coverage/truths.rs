//! The right answer of each row.

use stook::simulate::{Given, PopulationTruth, RowTruth};
use stook::trial::Instrument;

use super::study::{PRICE_RATIO, Study};

/// Site-years that a truth is read from, of another seed than any programme.
const SITE_YEARS: usize = 40_000;
const SEED: u64 = 77;
/// Treatments at most so far from a row's midpoint tell its truth.
const HALF_WIDTH: f64 = 0.005;
/// The largest rate of the simulated programmes' tables, lb/ac.
pub const HIGHEST: f64 = 120.0;
/// Midpoints of their rows, in thousandths.
pub const MIDPOINTS: [u32; 6] = [725, 775, 825, 875, 925, 975];

/// The truth of a row.
#[derive(Clone, Debug)]
pub struct Truth {
    pub instrument: Instrument,
    /// Midpoint of the row, in thousandths.
    pub midpoint: u32,
    /// Given the index as measured, which is what a table is looked up with.
    pub measured: RowTruth,
    /// Given the index without chance, for comparison.
    pub without_chance: RowTruth,
}

impl Truth {
    /// Whether the clamps leave it as it is.
    pub fn is_within_clamps(&self) -> bool {
        self.measured.rate > 0.0 && self.measured.rate < HIGHEST
    }
}

/// The truths of a study, instrument by instrument and row by row.
pub fn truths(study: &Study) -> Vec<Truth> {
    let population = PopulationTruth::sample(SEED, SITE_YEARS, &study.options);
    let truth = |instrument: Instrument, midpoint: u32| {
        let at = |given| {
            let index = f64::from(midpoint) / 1_000.0;
            population.at(instrument, given, index, HALF_WIDTH, PRICE_RATIO).expect("treatments at every row")
        };
        Truth { instrument, midpoint, measured: at(Given::Measured), without_chance: at(Given::True) }
    };
    Instrument::ALL.into_iter().flat_map(|one| MIDPOINTS.map(|midpoint| truth(one, midpoint))).collect()
}
