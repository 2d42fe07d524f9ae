//! One trial at one site in one season.

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{FlaggedLeaves, GrowthStage, Instrument, PlateCheck, Plot, Reading, ReadingColumn};
use crate::finding::Place;
use crate::units::{NRate, NRateUnit};

/// A trial: a site-year with its plots, applications, readings and harvest.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Folder name: the trial's identifier.
    pub folder: String,
    /// Site, as typed.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i16,
    /// How treatments were randomised.
    pub design: Design,
    /// How the N need of its points is found.
    pub need_from: NeedFrom,
    /// The descriptor, relative to the programme.
    pub descriptor: String,
    /// The plots file, relative to the programme.
    pub plots_file: String,
    /// The headers of the plots file that each role was read from.
    pub plot_columns: PlotColumns,
    /// What else is known of the site-year.
    pub background: Background,
    /// N applications, in order of date.
    pub applications: Vec<Application>,
    /// Factors beside N and variety, by name; each plot has its levels in this order.
    pub factors: Vec<String>,
    /// Which plots are the N-rich reference; `None` where the trial has none.
    pub reference: Option<Reference>,
    /// Every plot of the plots file, in its order.
    pub plots: Vec<Plot>,
    /// Every reading, in order of instrument, date, plot, leaf.
    pub readings: Vec<Reading>,
    /// Files that the readings stand in, relative to the programme.
    pub reading_files: Vec<String>,
    /// Columns that the readings stand in; a reading names its own by position here.
    pub reading_columns: Vec<ReadingColumn>,
    /// Positions of leaves on their plants, as typed; a reading names its own by position here.
    pub leaf_positions: Vec<String>,
    /// What the programme decided of leaves that read far from the rest of their plot.
    pub flagged_leaves: FlaggedLeaves,
    /// Readings that came without a plot, in the order that the field was walked.
    pub walks: Vec<Walk>,
    /// Readings of reference plates: how the instruments kept.
    pub plate_checks: Vec<PlateCheck>,
}

impl Trial {
    /// N already on a plot when it was sensed: that of every application that [is on](Application::is_on) by then.
    #[must_use]
    pub fn n_already_on(&self, plot: &Plot, sensing: Date, unit: NRateUnit) -> f64 {
        self.n_where(plot, unit, |application| application.is_on(sensing))
    }

    /// N of the applications that `counts` takes, as it went on, in `unit`. A single application stays as typed; a sum is taken to the
    /// billionth, so that plots with the same total from other parts hold the same level.
    #[must_use]
    pub fn n_where(&self, plot: &Plot, unit: NRateUnit, counts: impl Fn(&Application) -> bool) -> f64 {
        let applied = self.applications.iter().zip(&plot.rates);
        sum(applied.filter(|(application, _)| counts(application)).map(|(_, rate)| rate.in_unit(unit)))
    }

    /// The same [as planned](Self::planned_rate): what a treatment is told by. Plots of one treatment share it where a spreader
    /// gave one of them a little more than another.
    #[must_use]
    pub fn planned_n_where(&self, plot: &Plot, unit: NRateUnit, counts: impl Fn(&Application) -> bool) -> f64 {
        let counted = self.applications.iter().enumerate().filter(|(_, application)| counts(application));
        sum(counted.filter_map(|(position, _)| Some(self.planned_rate(plot, position)?.in_unit(unit))))
    }

    /// The early level that a plot belongs to where the topdress is what varies: N planned before sensing. `None` elsewhere.
    #[must_use]
    pub fn early_level(&self, plot: &Plot, unit: NRateUnit) -> Option<f64> {
        let before = |application: &Application| application.timing == Timing::BeforeSensing;
        (self.need_from == NeedFrom::TopdressResponse).then(|| self.planned_n_where(plot, unit, before))
    }

    /// N of the application at `position` in [`applications`](Self::applications) as planned for a plot, and as it went on where no
    /// plan is recorded. `None` past the last application.
    ///
    /// The rate as applied is what the crop answered to, so it drives curves and optima; the rate as planned is what was randomised, so it
    /// drives the analysis of variance, treatment means, and which plots share an early level.
    #[must_use]
    pub fn planned_rate(&self, plot: &Plot, position: usize) -> Option<NRate> {
        plot.planned_rates.get(position).copied().flatten().or_else(|| plot.rates.get(position).copied())
    }

    /// The label of a plot's main plot, or of its strip that runs one way, where the design has them and a column tells it.
    #[must_use]
    pub fn whole_plot<'p>(&self, plot: &'p Plot) -> Option<&'p str> {
        match self.design {
            Design::CompletelyRandomised | Design::RandomisedCompleteBlock => None,
            Design::SplitPlot { .. } => plot.main_plot.as_deref(),
            Design::StripPlot { .. } => plot.strip.as_deref(),
        }
    }

    /// The cell that a reading stands in.
    #[must_use]
    pub fn place_of(&self, reading: &Reading) -> Place {
        let column = self.reading_columns.get(reading.column as usize);
        let file = column.and_then(|column| self.reading_files.get(column.file)).map_or("", String::as_str);
        Place::file(file).row(u64::from(reading.row)).column(column.map_or("", |column| &column.header))
    }

    /// Where on the plant the leaf of a reading sat, as typed; `None` where that is not recorded.
    #[must_use]
    pub fn leaf_position(&self, reading: &Reading) -> Option<&str> {
        self.leaf_positions.get(usize::from(reading.position?.get() - 1)).map(String::as_str)
    }

    /// Site and harvest year: what a site-year is told by.
    #[must_use]
    pub fn site_year(&self) -> String {
        format!("{} {}", self.site, self.harvest_year)
    }
}

fn sum(rates: impl Iterator<Item = f64>) -> f64 {
    let parts: Vec<f64> = rates.filter(|rate| *rate != 0.0).collect();
    match parts.as_slice() {
        [] => 0.0,
        [rate] => *rate,
        several => (several.iter().sum::<f64>() * 1e9).round() / 1e9,
    }
}

/// The headers of the plots file, by the role they play; `None` where no column plays it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlotColumns {
    /// Columns that together name a plot.
    pub plot: Vec<String>,
    /// Block.
    pub block: Option<String>,
    /// Main plot.
    pub main_plot: Option<String>,
    /// Strip that runs one way through its block.
    pub strip: Option<String>,
    /// Row of the plot in the field, and its place in the row.
    pub position: Option<[String; 2]>,
    /// Variety.
    pub variety: Option<String>,
    /// Each factor, in the order of [`Trial::factors`].
    pub factors: Vec<String>,
    /// N of each application as it went on (as planned, where only that is given), in the order of [`Trial::applications`].
    pub rates: Vec<Option<String>>,
    /// N of each application as planned, in the same order.
    pub planned_rates: Vec<Option<String>>,
    /// Yield or weight.
    pub harvest: Option<String>,
    /// Moisture.
    pub moisture: Option<String>,
    /// Grain protein.
    pub protein: Option<String>,
    /// Test weight.
    pub test_weight: Option<String>,
    /// Lodging score.
    pub lodging: Option<String>,
    /// Plants counted.
    pub plants: Option<String>,
    /// Tillers counted.
    pub tillers: Option<String>,
}

/// What is known of a site-year beside its plots: carried to the report, and the N among it to the N balance.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Background {
    /// Day of planting.
    pub planting_date: Option<Date>,
    /// Preceding crop, as typed.
    pub preceding_crop: Option<String>,
    /// N credited to manure.
    pub manure_credit: Option<NRate>,
    /// Nitrate N in the soil in spring.
    pub spring_soil_nitrate: Option<SoilNitrate>,
    /// Notes on the weather, as typed.
    pub weather_notes: Option<String>,
}

/// Nitrate N in the soil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoilNitrate {
    /// N down to `depth_metres`.
    pub n: NRate,
    /// Depth of the sample, m.
    pub depth_metres: f64,
}

/// Readings in the order that the field was walked: the plots passed, for the readings of one instrument on one date.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Walk {
    /// Position in [`Trial::reading_files`].
    pub file: usize,
    /// Instrument.
    pub instrument: Instrument,
    /// Day it was walked.
    pub date: Date,
    /// Plots in the order they were passed, as positions in [`Trial::plots`].
    pub plots: Vec<usize>,
}

/// How treatments were randomised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Design {
    /// Over all plots.
    CompletelyRandomised,
    /// Within blocks.
    RandomisedCompleteBlock,
    /// Main-plot factors within blocks, the others within main plots; factors by name (`variety`, one of [`Trial::factors`] or an
    /// application; of bare columns the header).
    SplitPlot {
        /// Factors on main plots.
        main_plot: Vec<String>,
    },
    /// Factors on strips that run one way through a block, the others on the strips across them; named as those of main
    /// plots.
    StripPlot {
        /// Factors on the strips that run one way.
        strip: Vec<String>,
    },
}

impl Design {
    /// The name it is typed as.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::CompletelyRandomised => "completely-randomised",
            Self::RandomisedCompleteBlock => "randomised-complete-block",
            Self::SplitPlot { .. } => "split-plot",
            Self::StripPlot { .. } => "strip-plot",
        }
    }

    /// The factors that it lays on main plots, or on the strips that run one way; none in the other designs.
    #[must_use]
    pub fn named_factors(&self) -> &[String] {
        match self {
            Self::CompletelyRandomised | Self::RandomisedCompleteBlock => &[],
            Self::SplitPlot { main_plot: named } | Self::StripPlot { strip: named } => named,
        }
    }

    /// The same design with other names for its factors.
    pub(crate) fn renamed(self, name: impl Fn(String) -> String) -> Self {
        let all = |names: Vec<String>| names.into_iter().map(&name).collect();
        match self {
            Self::SplitPlot { main_plot } => Self::SplitPlot { main_plot: all(main_plot) },
            Self::StripPlot { strip } => Self::StripPlot { strip: all(strip) },
            design => design,
        }
    }
}

/// How the N need of a point is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NeedFrom {
    /// The optimum of the site-year minus the N already on, kept signed.
    DifferenceFromOptimum,
    /// The optimum topdress within each early level.
    TopdressResponse,
}

/// When an application went on, against the sensing that the table is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Timing {
    /// Before: its N is *already on*.
    BeforeSensing,
    /// The topdress that the sensing decides.
    DecidedBySensing,
    /// After the decided topdress.
    AfterSensing,
}

impl Timing {
    /// The name it is typed as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::BeforeSensing => "before-sensing",
            Self::DecidedBySensing => "decided-by-sensing",
            Self::AfterSensing => "after-sensing",
        }
    }
}

/// One N application.
#[derive(Clone, Debug, PartialEq)]
pub struct Application {
    /// Name, as typed.
    pub name: String,
    /// Unit its rates were typed in.
    pub unit: NRateUnit,
    /// Product, as typed.
    pub product: Option<String>,
    /// N in the product, per cent by weight; `None` where rates are of N.
    pub n_percent: Option<f64>,
    /// Date it went on.
    pub date: Date,
    /// Growth stage it went on at.
    pub stage: Option<GrowthStage>,
    /// Against sensing.
    pub timing: Timing,
    /// Whether it went on before or after the sensing of its own day, where there was one.
    pub same_day: Option<SameDay>,
}

impl Application {
    /// Whether its N is *already on* when a plot is sensed on `sensing`: it is earlier, or went on first that day.
    #[must_use]
    pub fn is_on(&self, sensing: Date) -> bool {
        self.date < sensing || (self.date == sensing && self.same_day == Some(SameDay::Before))
    }
}

/// Which came first on a day with an application and sensing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SameDay {
    /// The application.
    Before,
    /// The sensing.
    After,
}

/// Which plots a plot's reference is averaged over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SharedWithin {
    /// Only reference plots of the same variety.
    pub variety: bool,
    /// Only reference plots of the same block.
    pub block: bool,
}

/// The N-rich reference of a trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reference {
    /// Whether the reference plots are a treatment too: their yield then enters the curve.
    pub also_treatment: bool,
    /// Which reference plots a plot is read against.
    pub shared_within: SharedWithin,
}
