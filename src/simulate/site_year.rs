//! The description of a site-year: what grew, what was done to it, and how the station wrote it down.

use super::growth::{Growth, Variety};

/// Pounds per acre to kilograms per hectare (NIST SP 811).
pub(super) const KG_HA_PER_LB_AC: f64 = 1.120_851_156_2;
/// Share of N in urea.
pub(super) const UREA_N_PERCENT: f64 = 46.0;

/// One trial: a site in one season.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteYear {
    /// The site's name; the folder is made from it and the year.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i32,
    /// Why the programme leaves this trial out, if it does.
    pub left_out: Option<String>,
    /// Blocks, numbered from 1; plot 203 is the third of block 2, so a block has room for 99 plots.
    pub blocks: u32,
    /// Varieties; each gets every N treatment in every block.
    pub varieties: Vec<Variety>,
    /// Whether varieties are main plots of a split-plot; otherwise all treatments are randomised within blocks.
    pub varieties_on_main_plots: bool,
    /// Rows of the field that a block takes, where the station noted where its plots lie.
    pub rows_a_block: Option<u32>,
    /// What the station knows of the season beside its plots.
    pub history: History,
    /// The N treatments, in the unit that `typed_rate` names.
    pub rates: Rates,
    /// In what the rates are typed.
    pub typed_rate: TypedRate,
    /// Where the N-rich plots are.
    pub rich: RichPlots,
    /// Whether readings are held against the N-rich plots of the same block.
    pub reference_within_block: bool,
    /// How the crop answers to N.
    pub growth: Growth,
    /// Chance between blocks, plots and readings.
    pub scatter: Scatter,
    /// A thin stand in some blocks, if there is one; the stand is then counted and typed.
    pub thin_stand: Option<ThinStand>,
    /// Dates and shape of the readings.
    pub sensing: Sensing,
    /// How the yield was taken.
    pub harvest: Harvest,
    /// What went wrong in single plots.
    pub mishaps: Vec<Mishap>,
}

/// What is known of a season beside the plots. The simulation does not use it: it is written down.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// Day of planting, in the year before harvest.
    pub planted: Day,
    /// The crop before.
    pub preceding_crop: String,
    /// N product.
    pub product: String,
    /// Notes on the weather.
    pub weather: Option<String>,
    /// N credited to manure, lb/ac.
    pub manure_credit: Option<f64>,
    /// Nitrate N in the soil in spring down to 24 in, lb/ac.
    pub soil_nitrate: Option<f64>,
}

/// The N treatments of a trial.
#[derive(Debug, Clone, PartialEq)]
pub enum Rates {
    /// All N on before sensing, in several rates: need is the optimum minus what is on.
    DifferenceFromOptimum {
        /// Rates, lowest first.
        rates: Vec<f64>,
    },
    /// Every early rate with every topdress rate: need is the best topdress at each early rate.
    TopdressResponse {
        /// Rates on before sensing, lowest first.
        early: Vec<f64>,
        /// Rates decided by sensing, lowest first.
        topdress: Vec<f64>,
        /// The day of the topdress.
        date: Day,
    },
}

/// In what an N rate is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TypedRate {
    /// Pounds of N per acre.
    NitrogenPounds,
    /// Pounds of urea (46 % N) per acre.
    UreaPounds,
    /// Kilograms of N per hectare.
    NitrogenKilograms,
}

impl TypedRate {
    /// Pounds of N per acre of a rate as typed.
    pub(super) fn pounds(self, typed: f64) -> f64 {
        match self {
            TypedRate::NitrogenPounds => typed,
            TypedRate::UreaPounds => typed * UREA_N_PERCENT / 100.0,
            TypedRate::NitrogenKilograms => typed / KG_HA_PER_LB_AC,
        }
    }
}

/// Where the N-rich plots are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RichPlots {
    /// The plots of the highest rate before sensing are reference and treatment.
    HighestRate,
    /// One plot a variety and block beside the treatments, at this rate before sensing and never topdressed. They lie at
    /// the end of each block (of each main plot), in a full stand.
    Beside {
        /// Rate, as typed.
        rate: f64,
    },
}

/// Chance between blocks, plots and readings. Standard deviations.
#[derive(Debug, Clone, PartialEq)]
pub struct Scatter {
    /// Of yield between blocks, share of the mean.
    pub block_yield: f64,
    /// Of yield between main plots of a block, share of the mean; used in split-plots.
    pub main_plot_yield: f64,
    /// Of yield between plots of a block, share of the mean: the trial's CV before any treatment. Neighbours are alike.
    pub plot_yield: f64,
    /// Of soil N supply between blocks, lb/ac; between plots of a block two thirds of it.
    pub soil_supply: f64,
    /// Of leaf area between plots, share of the mean.
    pub leaf_area: f64,
    /// Of a canopy NDVI reading.
    pub canopy_reading: f64,
    /// Of single leaves within a plot, in the meter's units.
    pub leaf: f64,
    /// Of a plot's mean leaf reading beyond its leaves, in the meter's units.
    pub plot_leaf: f64,
}

impl Default for Scatter {
    /// A carefully run small-plot trial: CV of yield about 5 %.
    fn default() -> Self {
        Scatter {
            block_yield: 0.04,
            main_plot_yield: 0.02,
            plot_yield: 0.05,
            soil_supply: 4.0,
            leaf_area: 0.06,
            canopy_reading: 0.010,
            leaf: 2.8,
            plot_leaf: 0.6,
        }
    }
}

impl Scatter {
    /// No chance at all in yields and readings: they are what the truth says, up to the decimals typed. Treatments are
    /// still laid out at random, and the moisture and protein of grain still vary.
    pub fn none() -> Self {
        Scatter {
            block_yield: 0.0,
            main_plot_yield: 0.0,
            plot_yield: 0.0,
            soil_supply: 0.0,
            leaf_area: 0.0,
            canopy_reading: 0.0,
            leaf: 0.0,
            plot_leaf: 0.0,
        }
    }
}

/// A thin stand: the canopy is open, and N is not short for it.
#[derive(Debug, Clone, PartialEq)]
pub struct ThinStand {
    /// The blocks it lies in.
    pub blocks: Vec<u32>,
    /// Share of a full stand that stands there.
    pub share: f64,
}

/// A day of the harvest year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Day {
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month, from 1.
    pub day: u8,
}

impl Day {
    /// A day from month and day of the month.
    pub const fn new(month: u8, day: u8) -> Self {
        Day { month, day }
    }

    /// As descriptors and files write it: 2024-04-02.
    pub(super) fn in_year(self, year: i32) -> String {
        format!("{year:04}-{:02}-{:02}", self.month, self.day)
    }

    /// As a column header says it: apr02.
    pub(super) fn header(self) -> String {
        const MONTHS: [&str; 12] = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
        let month = usize::from(self.month.saturating_sub(1));
        format!("{}{:02}", MONTHS.get(month).unwrap_or(&"month"), self.day)
    }
}

/// Dates and shape of the readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensing {
    /// The day of the N that is on before sensing.
    pub early_date: Day,
    /// An earlier canopy date and its growth stage, outside the stage window of a table.
    pub canopy_early: Option<(Day, String)>,
    /// The canopy date and its growth stage.
    pub canopy: (Day, String),
    /// The leaf date and its growth stage.
    pub leaf: (Day, String),
    /// Leaves read in a plot; in a few plots one is missing.
    pub leaves: u32,
    /// How the canopy readings are kept.
    pub canopy_kept: CanopyReadings,
}

/// How the canopy readings are kept. Leaf readings are always in long form, a row a leaf.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CanopyReadings {
    /// A column a date among the plots; leaf readings alone in `leaf.csv`.
    Columns,
    /// In long form with the leaf readings in `readings.csv`, told apart by a column.
    Long,
}

/// How the yield was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Harvest {
    /// A column of yields in bu/ac at a stated moisture.
    Bushels {
        /// Moisture of the yields, percent.
        moisture_percent: f64,
    },
    /// A column of yields in kg/ha at a stated moisture.
    Kilograms {
        /// Moisture of the yields, percent.
        moisture_percent: f64,
    },
    /// Plot weight in lb, an area in ft, columns of moisture and protein.
    WeighedPounds {
        /// Length harvested, ft.
        length: f64,
        /// Width harvested, ft.
        width: f64,
    },
    /// Plot weight in kg, an area in m, columns of moisture and protein.
    WeighedKilograms {
        /// Length harvested, m.
        length: f64,
        /// Width harvested, m.
        width: f64,
    },
}

/// Something that went wrong in one plot.
#[derive(Debug, Clone, PartialEq)]
pub enum Mishap {
    /// No yield was taken: the cell is empty.
    NotHarvested {
        /// Plot number.
        plot: u32,
    },
    /// The yield is wrong and the descriptor excludes it.
    YieldSpoilt {
        /// Plot number.
        plot: u32,
        /// What the yield was multiplied by.
        factor: f64,
        /// The reason, as the descriptor gives it.
        reason: String,
    },
    /// The whole plot is damaged and the descriptor excludes all of it.
    PlotSpoilt {
        /// Plot number.
        plot: u32,
        /// What the yield was multiplied by.
        factor: f64,
        /// The reason, as the descriptor gives it.
        reason: String,
    },
    /// The leaf readings are wrong and the descriptor excludes the plot's readings.
    ReadingsSpoilt {
        /// Plot number.
        plot: u32,
        /// What the leaf readings were multiplied by.
        factor: f64,
        /// The reason, as the descriptor gives it.
        reason: String,
    },
}

impl SiteYear {
    /// The trial's folder: site in lower case with hyphens, then the year.
    pub fn folder(&self) -> String {
        let site: String = self
            .site
            .chars()
            .map(|letter| match letter {
                letter if letter.is_alphanumeric() => letter.to_ascii_lowercase(),
                _ => '-',
            })
            .collect();
        format!("{site}-{}", self.harvest_year)
    }

    /// The stand of the treatments in a block, share of a full one.
    pub(super) fn stand_in(&self, block: u32) -> f64 {
        self.thin_stand.as_ref().filter(|thin| thin.blocks.contains(&block)).map_or(1.0, |thin| thin.share)
    }

    /// The file with the readings in long form.
    pub(super) fn readings_file(&self) -> &'static str {
        match self.sensing.canopy_kept {
            CanopyReadings::Columns => "leaf.csv",
            CanopyReadings::Long => "readings.csv",
        }
    }

    /// Rates before sensing, as typed.
    pub(super) fn early_rates(&self) -> &[f64] {
        match &self.rates {
            Rates::DifferenceFromOptimum { rates } => rates,
            Rates::TopdressResponse { early, .. } => early,
        }
    }

    /// Topdress rates, as typed; a single 0 where there is no topdress.
    pub(super) fn topdress_rates(&self) -> &[f64] {
        match &self.rates {
            Rates::DifferenceFromOptimum { .. } => &[0.0],
            Rates::TopdressResponse { topdress, .. } => topdress,
        }
    }

    /// The rate of the N-rich plots, as typed.
    pub(super) fn rich_rate(&self) -> f64 {
        match self.rich {
            RichPlots::Beside { rate } => rate,
            RichPlots::HighestRate => self.early_rates().iter().copied().fold(0.0, f64::max),
        }
    }
}
