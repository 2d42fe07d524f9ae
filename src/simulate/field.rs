//! The field: treatments laid out at random, then every plot grown, read and harvested.

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::chance::{Purpose, normal, stream};
use super::growth::{Progress, Variety, protein};
use super::site_year::{Mishap, RichPlots, SiteYear};

/// Shoots per square foot of a full stand at green-up.
const FULL_STAND_SHOOTS: f64 = 85.0;
/// How alike the yield errors of neighbouring plots are.
const NEIGHBOUR_CORRELATION: f64 = 0.5;
/// One plot in this many lost a leaf reading.
const PLOTS_PER_LOST_LEAF: u32 = 24;

/// One plot with everything that was measured in it.
#[derive(Debug, Clone)]
pub(super) struct Plot<'a> {
    pub number: u32,
    pub block: u32,
    pub variety: &'a Variety,
    /// Rates as typed.
    pub early: f64,
    pub topdress: f64,
    pub rich_beside: bool,
    pub shoots_per_ft2: f64,
    pub ndvi_early: f64,
    pub ndvi: f64,
    pub leaves: Vec<f64>,
    /// bu/ac at standard moisture; nothing where no yield was taken.
    pub grain_yield: Option<f64>,
    /// Moisture and protein (at 12 % moisture) of the grain, percent.
    pub moisture: f64,
    pub protein: f64,
}

/// A treatment at its place in a block.
struct Place<'a> {
    block: u32,
    number: u32,
    variety: &'a Variety,
    early: f64,
    topdress: f64,
    rich_beside: bool,
    /// Counts main plots over the trial; where there are none, one a block.
    main_plot: usize,
}

/// Grows the trial of one site-year; `trial` is its index in the programme.
pub(super) fn grow(seed: u64, trial: u64, site_year: &SiteYear) -> Vec<Plot<'_>> {
    let places = lay_out(site_year, &mut stream(seed, trial, Purpose::Layout));
    let mut ground = Ground::new(site_year, stream(seed, trial, Purpose::Ground));
    let mut canopy = stream(seed, trial, Purpose::Canopy);
    let mut leaves = stream(seed, trial, Purpose::Leaves);
    let mut harvest = stream(seed, trial, Purpose::Harvest);
    let (growth, scatter) = (&site_year.growth, &site_year.scatter);
    places
        .into_iter()
        .map(|place| {
            let here = ground.under(&place, site_year);
            let early = site_year.typed_rate.pounds(place.early);
            let topdress = site_year.typed_rate.pounds(place.topdress);
            let status = |progress| growth.status(early, here.soil, here.stand, progress);
            let lush = 1.0 + normal(&mut canopy, scatter.leaf_area);
            let mut ndvi = |progress| {
                let seen = place.variety.canopy_ndvi(status(progress), here.stand, lush, progress);
                seen + normal(&mut canopy, scatter.canopy_reading)
            };
            let (ndvi_early, ndvi) = (ndvi(Progress::EARLY), ndvi(Progress::AT_SENSING));
            let reading =
                place.variety.leaf_reading(status(Progress::AT_SENSING)) + normal(&mut leaves, scatter.plot_leaf);
            let supply = growth.supply(early, topdress) + here.soil;
            let grown = growth.grain_yield(place.variety, supply, here.stand) * here.yield_factor;
            Plot {
                number: place.number,
                block: place.block,
                variety: place.variety,
                early: place.early,
                topdress: place.topdress,
                rich_beside: place.rich_beside,
                shoots_per_ft2: FULL_STAND_SHOOTS * here.stand,
                ndvi_early,
                ndvi,
                leaves: read_leaves(site_year, &place, reading, &mut leaves),
                grain_yield: taken(site_year, place.number, grown),
                moisture: 12.8 + normal(&mut harvest, 0.5),
                protein: protein(growth, supply) + normal(&mut harvest, 0.2),
            }
        })
        .collect()
}

fn read_leaves(site_year: &SiteYear, place: &Place<'_>, reading: f64, stream: &mut ChaCha8Rng) -> Vec<f64> {
    let spoilt = site_year.mishaps.iter().find_map(|mishap| match mishap {
        Mishap::ReadingsSpoilt { plot, factor, .. } if *plot == place.number => Some(*factor),
        _ => None,
    });
    let mut leaves: Vec<f64> = (0..site_year.sensing.leaves)
        .map(|_| (reading + normal(stream, site_year.scatter.leaf)).max(0.0) * spoilt.unwrap_or(1.0))
        .collect();
    if place.number.is_multiple_of(PLOTS_PER_LOST_LEAF) {
        leaves.pop();
    }
    leaves
}

/// What the combine brought in of what grew.
fn taken(site_year: &SiteYear, number: u32, grown: f64) -> Option<f64> {
    let mut grain = grown;
    for mishap in &site_year.mishaps {
        match mishap {
            Mishap::NotHarvested { plot } if *plot == number => return None,
            Mishap::YieldSpoilt { plot, factor, .. } | Mishap::PlotSpoilt { plot, factor, .. } if *plot == number => {
                grain *= factor;
            }
            _ => {}
        }
    }
    Some(grain)
}

/// Every treatment of a block in random order, N-rich plots beside them last; within main plots where there are any.
fn lay_out<'a>(site_year: &'a SiteYear, stream: &mut ChaCha8Rng) -> Vec<Place<'a>> {
    let mut places = Vec::new();
    let mut main_plot = 0;
    for block in 1..=site_year.blocks {
        let mut varieties: Vec<&Variety> = site_year.varieties.iter().collect();
        let groups: Vec<Vec<&Variety>> = if site_year.varieties_on_main_plots {
            varieties.shuffle(stream);
            varieties.into_iter().map(|variety| vec![variety]).collect()
        } else {
            vec![varieties]
        };
        let mut number = block.saturating_mul(100);
        for group in groups {
            let place = |variety, early, topdress, rich_beside| Place {
                block,
                number: 0,
                variety,
                early,
                topdress,
                rich_beside,
                main_plot,
            };
            let mut treatments = Vec::new();
            for &variety in &group {
                for &early in site_year.early_rates() {
                    for &topdress in site_year.topdress_rates() {
                        treatments.push(place(variety, early, topdress, false));
                    }
                }
            }
            treatments.shuffle(stream);
            if let RichPlots::Beside { rate } = site_year.rich {
                treatments.extend(group.iter().map(|&variety| place(variety, rate, 0.0, true)));
            }
            for mut treatment in treatments {
                number = number.saturating_add(1);
                treatment.number = number;
                places.push(treatment);
            }
            main_plot += 1;
        }
    }
    places
}

/// What one plot stands on.
struct Here {
    /// Soil N supply beyond the site-year's mean, lb/ac.
    soil: f64,
    /// Share of a full stand.
    stand: f64,
    /// Yield against the average plot.
    yield_factor: f64,
}

/// The ground from plot to plot, in the order they are numbered: blocks differ, main plots differ, neighbours are alike.
struct Ground {
    stream: ChaCha8Rng,
    /// Yield effect and soil supply of each block, around a mean of 0 so that the truth is the mean over the blocks.
    blocks: Vec<(f64, f64)>,
    /// The block of the last plot.
    block: u32,
    /// The main plot of the last plot, and its yield effect.
    main_plot: Option<(usize, f64)>,
    /// The yield error of the last plot, in standard deviations.
    neighbour: f64,
}

impl Ground {
    fn new(site_year: &SiteYear, mut stream: ChaCha8Rng) -> Self {
        let scatter = &site_year.scatter;
        let mut blocks: Vec<(f64, f64)> = (0..site_year.blocks)
            .map(|_| (normal(&mut stream, scatter.block_yield), normal(&mut stream, scatter.soil_supply)))
            .collect();
        let count = f64::from(site_year.blocks.max(1));
        let mean_yield = blocks.iter().map(|block| block.0).sum::<f64>() / count;
        let mean_soil = blocks.iter().map(|block| block.1).sum::<f64>() / count;
        for block in &mut blocks {
            block.0 -= mean_yield;
            block.1 -= mean_soil;
        }
        Ground { stream, blocks, block: 0, main_plot: None, neighbour: 0.0 }
    }

    fn under(&mut self, place: &Place<'_>, site_year: &SiteYear) -> Here {
        let scatter = &site_year.scatter;
        if self.block != place.block {
            self.block = place.block;
            self.neighbour = normal(&mut self.stream, 1.0);
        }
        let main_plot_yield = match self.main_plot {
            Some((same, effect)) if same == place.main_plot => effect,
            _ if site_year.varieties_on_main_plots => normal(&mut self.stream, scatter.main_plot_yield),
            _ => 0.0,
        };
        self.main_plot = Some((place.main_plot, main_plot_yield));
        let fresh = (1.0 - NEIGHBOUR_CORRELATION * NEIGHBOUR_CORRELATION).sqrt();
        self.neighbour = NEIGHBOUR_CORRELATION * self.neighbour + normal(&mut self.stream, fresh);
        let plot_soil = normal(&mut self.stream, scatter.soil_supply * 2.0 / 3.0);
        let uneven = normal(&mut self.stream, scatter.leaf_area / 2.0);
        // Blocks are numbered from 1 and drawn once each, so the lookup finds its block.
        let (block_yield, block_soil) = usize::try_from(place.block.saturating_sub(1))
            .ok()
            .and_then(|index| self.blocks.get(index).copied())
            .unwrap_or_default();
        let share = if place.rich_beside { 1.0 } else { site_year.stand_in(place.block) };
        let error = scatter.plot_yield * self.neighbour;
        Here {
            soil: block_soil + plot_soil,
            stand: (share * (1.0 + uneven)).max(0.05),
            yield_factor: (1.0 + block_yield + main_plot_yield + error).max(0.0),
        }
    }
}
