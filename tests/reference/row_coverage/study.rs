//! Programmes of a population, run from their files to the rate table.

use std::path::Path;

use stook::calibration::{
    Basis, Calibration, CalibrationOptions, FittedTrial, Materials, Relation, Resampled, calibrate, gather, resample,
};
use stook::files::load_programme;
use stook::season::{Season, SeasonOptions};
use stook::simulate::{PopulationOptions, population, programme};
use stook::trial::{Programme, TableSpecification};

/// The simulated programmes' price ratio, bu a pound of N: urea with 46 % N at 560 USD a short ton, grain at 6 USD a bushel.
pub const PRICE_RATIO: f64 = 560.0 / 920.0 / 6.0;
/// The level of the programmes' intervals.
pub const LEVEL: f64 = 0.95;
/// Permutations of each response test: enough for its α of 0.05 to be kept exactly.
const PERMUTATIONS: usize = 199;
/// Resamples of site-years: the 2.5 % limits are the tenth from either end.
const REPLICATES: u64 = 399;

/// A kind of programme.
#[derive(Clone, Debug)]
pub struct Study {
    pub name: &'static str,
    /// What its files are called.
    pub file: &'static str,
    pub options: PopulationOptions,
}

impl Study {
    /// Early × topdress in every site-year, all independent.
    pub fn topdress() -> Self {
        Self { name: "early × topdress", file: "topdress", options: PopulationOptions::default() }
    }

    /// Every fourth site-year with all its N before sensing.
    pub fn mixed() -> Self {
        Self { name: "every fourth all early", file: "mixed", options: PopulationOptions::mixed() }
    }

    /// Four seasons of each site, a third of the variance common to them, a sixth to the season.
    pub fn alike() -> Self {
        let usual = PopulationOptions::default();
        Self {
            name: "sites and seasons alike",
            file: "alike",
            options: PopulationOptions { shared_by_site: 1.0 / 3.0, shared_by_season: 1.0 / 6.0, ..usual },
        }
    }

    /// The programme of the first site-years of a seed, read back from its files.
    pub fn programme(&self, seed: u64, site_years: usize) -> Programme {
        let simulated = programme(seed, &population(seed, site_years, &self.options));
        let folder =
            crate::programme::written(simulated.files.iter().map(|file| (Path::new(&file.path), file.text.as_bytes())));
        load_programme(folder.path()).unwrap_or_else(|findings| panic!("{findings:#?}")).value
    }

    /// Its season.
    pub fn season(&self, seed: u64, site_years: usize) -> Season {
        run(self.programme(seed, site_years), seed, Resamples::None)
    }

    /// What its tables rest on, without the held-out site-years, on which no row depends and which take most of a season's time.
    pub fn calibrated(&self, seed: u64, site_years: usize, resamples: Resamples) -> Vec<Calibrated> {
        let mut programme = self.programme(seed, site_years);
        let tables = std::mem::take(&mut programme.tables);
        let season = run(programme, seed, resamples);
        tables.into_iter().map(|specification| Calibrated::of(&season, specification)).collect()
    }
}

/// Whether site-years are resampled too, which takes many times as long as all else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Resamples {
    Drawn,
    None,
}

/// A table at the base price ratio before it is written.
pub struct Calibrated {
    pub specification: TableSpecification,
    pub materials: Materials,
    pub calibration: Calibration,
    /// The chosen relation without each site-year, and for resampled ones where the programme is among the first.
    pub resampled: Option<Resampled>,
}

impl Calibrated {
    fn of(season: &Season, specification: TableSpecification) -> Self {
        let trials: Vec<FittedTrial<'_>> = season.fitted_trials().collect();
        let evidence = gather(&trials, &specification, season.programme.units.n_rate).evidence;
        let options = CalibrationOptions {
            relation: specification.relation,
            level: season.programme.decisions.level,
            highest: specification.rate.highest,
            standard: season.programme.decisions.standard_topdress,
            seed: season.options.seed,
        };
        let calibration = calibrate(&Basis::of(&evidence), &evidence, &options, season.price_ratios[0], None);
        let materials = Materials::new(calibration.points.clone(), &evidence, calibration.price_ratio);
        let SeasonOptions { replicates, seed, .. } = season.options;
        let resample = |relation: &Relation| resample(&materials, relation, replicates, seed).ok().flatten();
        let resampled = calibration.relation().ok().and_then(resample);
        Self { specification, materials, calibration, resampled }
    }
}

/// A season as `stook season` has it, with fewer permutations and replicates.
pub fn run(programme: Programme, seed: u64, resamples: Resamples) -> Season {
    let replicates = if resamples == Resamples::Drawn { REPLICATES } else { 0 };
    let options = SeasonOptions { seed, permutations: PERMUTATIONS, replicates, ..SeasonOptions::default() };
    Season::run(programme, Vec::new(), options, &|_| ()).expect("bushels of wheat are known")
}
