//! Random site-years of one population, for what a single demo cannot tell: how often an interval holds the truth, and what a programme of hundreds
//! of site-years costs.
//!
//! Every quantity below is normal around its mean, cut at 2.5 standard deviations, the soil's supply on the log scale. Means and spreads are plausible for
//! winter wheat (common practice; no one source) and hold the demo's site-years. What no reading before jointing can show (how much of the soil's N
//! comes later, what the crop can still make of it) differs from site-year to site-year, so that the need at an index is a distribution and not a number.
//!
//! | | mean | standard deviation |
//! |---|---|---|
//! | yield that unlimited N would approach, bu/ac | 92 | 12 |
//! | N supply at half of the response, lb/ac: 0.62 of the yield just named, times | 1 | 0.10 |
//! | share of the yield without N | 0.25 | 0.03 |
//! | steepness of the Hill curve | 3.0 | 0.2 |
//! | soil supply over the season, lb/ac (median; log standard deviation) | 55 | 0.35 |
//! | share of it shown at sensing | 0.52 | 0.05 |
//! | efficiency of early N | 0.62 | 0.05 |
//! | efficiency of the topdress | 0.76 | 0.03 |
//! | share of yield lost where lodging is complete | 0.055 | 0.015 |
//! | N supply at half of that loss, lb/ac: 2.9 times the half supply, plus | 0 | 12 |
//!
//! The variety is one of three at random.

mod truth;

pub use truth::{Given, PopulationTruth, RowTruth, TruePoint};

use rand::RngExt as _;

use super::chance::{Purpose, normal, stream};
use super::growth::{Growth, Variety};
use super::site_year::{
    CanopyReadings, Day, Harvest, History, Rates, RichPlots, Scatter, Sensing, SiteYear, TypedRate,
};

/// Draws are cut at this many standard deviations: no soil without N, no efficiency above 1.
const CUT: f64 = 2.5;
/// Year of harvest of the first season.
const FIRST_YEAR: i32 = 2011;

/// What a population's trials are like.
#[derive(Debug, Clone, PartialEq)]
pub struct PopulationOptions {
    /// N treatments, lb/ac; site-years take them in turn.
    pub designs: Vec<Rates>,
    /// Blocks of each trial.
    pub blocks: u32,
    /// Rate of the N-rich plots that lie beside the treatments, one a block, lb/ac before sensing.
    pub rich_rate: f64,
    /// Leaves read in a plot.
    pub leaves: u32,
    /// Chance between blocks, plots and readings.
    pub scatter: Scatter,
    /// Seasons of each site: site-year *i* is season *i* mod `seasons` at site *i* / `seasons`.
    pub seasons: u32,
    /// Share of every quantity's variance that all seasons of a site have in common, 0 to 1.
    pub shared_by_site: f64,
    /// Share that all sites have in common in a season; with `shared_by_site` 1 at the most.
    pub shared_by_season: f64,
}

impl Default for PopulationOptions {
    /// Early × topdress in four blocks (68 plots with the N-rich ones, as the demo has them), carefully run, site-years independent of each other.
    fn default() -> Self {
        Self {
            designs: vec![topdress_response(&[0.0, 30.0, 60.0, 90.0], &[0.0, 40.0, 80.0, 120.0])],
            blocks: 4,
            rich_rate: 200.0,
            leaves: 30,
            scatter: Scatter::default(),
            seasons: 4,
            shared_by_site: 0.0,
            shared_by_season: 0.0,
        }
    }
}

impl PopulationOptions {
    /// The same with every fourth site-year all on before sensing, its need a difference from the optimum.
    #[must_use]
    pub fn mixed() -> Self {
        let usual = Self::default();
        let mut designs = vec![all_early(&[0.0, 30.0, 60.0, 90.0, 120.0, 150.0])];
        designs.extend(std::iter::repeat_n(usual.designs.clone(), 3).flatten());
        Self { designs, ..usual }
    }

    /// Small trials, 32 plots each with the N-rich ones: seven rates in four blocks, every fifth site-year all early, in the others topdress at one early
    /// rate.
    #[must_use]
    pub fn small() -> Self {
        let early = [0.0, 20.0, 40.0, 70.0];
        let mut designs = vec![all_early(&[0.0, 25.0, 50.0, 75.0, 100.0, 125.0, 150.0])];
        designs.extend(early.map(|early| topdress_response(&[early], &[0.0, 20.0, 40.0, 60.0, 80.0, 110.0, 140.0])));
        Self { designs, ..Self::default() }
    }
}

/// Every early rate with every topdress rate, lb/ac.
fn topdress_response(early: &[f64], topdress: &[f64]) -> Rates {
    Rates::TopdressResponse { early: early.to_vec(), topdress: topdress.to_vec(), date: Day::new(4, 9) }
}

/// All N before sensing, lb/ac.
fn all_early(rates: &[f64]) -> Rates {
    Rates::DifferenceFromOptimum { rates: rates.to_vec() }
}

/// The first `count` site-years of a population. The same seed gives the same ones; more of them change none before, and neither designs nor scatter
/// change how a site-year grows.
#[must_use]
pub fn population(seed: u64, count: usize, options: &PopulationOptions) -> Vec<SiteYear> {
    (0..count).map(|index| site_year(seed, index, options)).collect()
}

fn site_year(seed: u64, index: usize, options: &PopulationOptions) -> SiteYear {
    let seasons = options.seasons.max(1) as usize;
    let (site, season) = (index / seasons, index % seasons);
    let mut draws = Draws::new(seed, index, site, season, options);
    let growth = growth(&mut draws);
    let variety = variety(&mut draws);
    let rates = match options.designs.get(index % options.designs.len().max(1)) {
        Some(design) => design.clone(),
        None => all_early(&[]),
    };
    SiteYear {
        site: format!("Field {:03}", site + 1),
        harvest_year: FIRST_YEAR + season as i32,
        left_out: None,
        blocks: options.blocks,
        varieties: vec![variety],
        varieties_on_main_plots: false,
        rows_a_block: None,
        history: History {
            planted: Day::new(10, 5),
            preceding_crop: "soybean".to_string(),
            product: "ammonium nitrate".to_string(),
            weather: None,
            manure_credit: None,
            soil_nitrate: None,
        },
        rates,
        typed_rate: TypedRate::NitrogenPounds,
        rich: RichPlots::Beside { rate: options.rich_rate },
        reference_within_block: false,
        growth,
        scatter: options.scatter.clone(),
        thin_stand: None,
        sensing: Sensing {
            early_date: Day::new(2, 21),
            canopy_early: None,
            canopy: (Day::new(4, 5), "Feekes 5".to_string()),
            leaf: (Day::new(4, 6), "Feekes 5".to_string()),
            leaves: options.leaves,
            canopy_kept: CanopyReadings::Columns,
        },
        harvest: Harvest::Bushels { moisture_percent: 12.0 },
        mishaps: Vec::new(),
    }
}

/// Standard normal draws of a site-year, each of which shares a part with the site's other seasons and the season's other sites.
struct Draws {
    streams: [rand_chacha::ChaCha8Rng; 3],
    weights: [f64; 3],
}

impl Draws {
    fn new(seed: u64, index: usize, site: usize, season: usize, options: &PopulationOptions) -> Self {
        let of = |number: usize, purpose| stream(seed, number as u64, purpose);
        let by_site = options.shared_by_site.clamp(0.0, 1.0);
        let by_season = options.shared_by_season.clamp(0.0, 1.0 - by_site);
        Self {
            streams: [
                of(index, Purpose::Population),
                of(site, Purpose::PopulationSite),
                of(season, Purpose::PopulationSeason),
            ],
            weights: [(1.0 - by_site - by_season).max(0.0).sqrt(), by_site.sqrt(), by_season.sqrt()],
        }
    }

    fn standard(&mut self) -> f64 {
        let parts = self.streams.iter_mut().zip(self.weights);
        parts.map(|(stream, weight)| normal(stream, weight)).sum::<f64>().clamp(-CUT, CUT)
    }

    fn around(&mut self, mean: f64, deviation: f64) -> f64 {
        mean + deviation * self.standard()
    }

    /// One of so many, whatever site and season.
    fn one_of(&mut self, many: usize) -> usize {
        let [own, ..] = &mut self.streams;
        own.random_range(0..many.max(1))
    }
}

fn growth(draws: &mut Draws) -> Growth {
    let yield_potential = draws.around(92.0, 12.0);
    let half_supply = 0.62 * yield_potential * draws.around(1.0, 0.10);
    Growth {
        yield_potential,
        half_supply,
        base_share: draws.around(0.25, 0.03),
        steepness: draws.around(3.0, 0.2),
        soil_supply: 55.0 * draws.around(0.0, 0.35).exp(),
        soil_shown_at_sensing: draws.around(0.52, 0.05),
        early_efficiency: draws.around(0.62, 0.05),
        topdress_efficiency: draws.around(0.76, 0.03),
        lodging_loss: draws.around(0.055, 0.015),
        lodging_supply: 2.9 * half_supply + draws.around(0.0, 12.0),
    }
}

fn variety(draws: &mut Draws) -> Variety {
    let (name, yield_factor, greenness, closed_canopy_ndvi, leafiness) = match draws.one_of(3) {
        0 => ("Pale Heron", 1.0, 51.5, 0.885, 0.94),
        1 => ("Dark Sedge", 0.96, 56.5, 0.910, 1.06),
        _ => ("Late Plover", 0.98, 54.0, 0.900, 1.0),
    };
    Variety { name: name.to_string(), yield_factor, greenness, closed_canopy_ndvi, leafiness }
}

#[cfg(test)]
mod tests;
