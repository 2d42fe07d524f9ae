//! What the readings of a day tell beside the index: leaves, reference, crowding, stand, plates.

use schemars::JsonSchema;
use serde::Serialize;

use crate::sensing::{
    AgainstLevels, Because, Components, Crowding, Effect, IndexSlope, LEAF_NUMBERS, PlateDay, ReferenceStudy,
    STAND_STEP, Stand, StandModel,
};
use crate::stats::interval::Interval;
use crate::trial::Trial;
use crate::units::NRateUnit;

/// Square metres in a square foot (exact).
pub(crate) const SQUARE_METRES_PER_SQUARE_FOOT: f64 = 0.3048 * 0.3048;
/// Units of stands.
pub(crate) const PER_SQUARE_FOOT: &str = "per ft2";
pub(crate) const PER_SQUARE_METRE: &str = "per m2";

/// How leaves and plots differ.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LeafPrecision {
    /// Mean of the plot means.
    pub mean: f64,
    /// Standard deviation of readings within a plot.
    pub within_sd: f64,
    /// Its degrees of freedom.
    pub within_df: usize,
    /// Standard deviation of plots of one treatment (and block) beyond that of their readings.
    pub between_sd: f64,
    /// Degrees of freedom of the plots.
    pub between_df: usize,
    /// Whether the variance between plots was estimated below 0 and is taken as 0.
    pub between_was_negative: bool,
    /// Whether blocks were removed.
    pub blocks_removed: bool,
    /// Median number of readings in a plot.
    pub readings: usize,
    /// Median number of plots of a treatment.
    pub plots: usize,
    /// Standard error of a treatment mean of that many plots with the readings that were taken, per cent of the mean.
    pub standard_error_percent: Interval,
    /// The same by number of readings in a plot.
    pub by_readings: Vec<PrecisionAt>,
    /// What a wanted standard error asks for; `null` where none was asked for.
    pub wanted: Option<WantedReadings>,
}

/// Standard errors with a number of readings in each plot.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PrecisionAt {
    /// Readings in a plot.
    pub readings: usize,
    /// Standard error of a treatment mean, per cent of the mean.
    pub standard_error_percent: f64,
    /// Standard error of the index of a treatment that reads as the mean; `null` without a reference.
    pub index_standard_error: Option<f64>,
}

/// What a wanted standard error asks for.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WantedReadings {
    /// Standard error of a treatment mean that is wanted, per cent of the mean.
    pub standard_error_percent: f64,
    /// Fewest readings in each of the plots of this trial; `null` where no number gives it, because plots differ too much.
    pub readings: Option<usize>,
    /// Fewest plots of a treatment with as many readings as here; `null` above 10 000.
    pub plots: Option<usize>,
}

/// A reference, and whether it is sufficient.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ReferenceOf {
    /// Variety; `null` where one reference stands for all.
    pub variety: Option<String>,
    /// Whether plots are read against the reference of their own block.
    pub within_block: bool,
    /// `sufficient`, `doubtful` or `cannot-tell`.
    pub verdict: &'static str,
    /// Reference plots read.
    pub reference_plots: usize,
    /// Other plots with an index.
    pub plots: usize,
    /// Those of them that read above their reference.
    pub plots_above: usize,
    /// Mean index of those plots.
    pub mean_index: f64,
    /// Growth stage of the reference and another one of its plots; empty where they agree.
    pub other_stage: Vec<String>,
    /// Plots left out of the comparison of readings, as their stand is thin.
    pub thin_left_out: usize,
    /// By its readings.
    pub by_reading: AgainstOthers,
    /// By its yield; `null` where it has none.
    pub by_yield: Option<AgainstOthers>,
}

/// A reference against the levels of N beside it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AgainstOthers {
    /// `sufficient`, `doubtful` or `cannot-tell`.
    pub verdict: &'static str,
    /// Why, as a stable name.
    pub because: &'static str,
    /// Mean of the reference.
    pub reference: f64,
    /// N on it.
    pub reference_n: Option<f64>,
    /// N of the level that lies highest.
    pub highest_n: Option<f64>,
    /// That level minus the reference, per cent of the reference; limits hold for all levels together.
    pub highest_minus_reference_percent: Option<Interval>,
    /// Dunnett's p of that difference.
    pub p_value: Option<f64>,
    /// N of the next level below the reference.
    pub next_lower_n: Option<f64>,
    /// The reference minus that level, per cent of the reference.
    pub last_step_percent: Option<Interval>,
    /// N at which the plateau of a quadratic-plateau begins.
    pub plateau_from: Option<Interval>,
}

/// Whether a canopy is crowded.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CrowdingOf {
    /// Variety; `null` where one reference stands for all.
    pub variety: Option<String>,
    /// `crowded`, `perhaps`, `not-crowded` or `cannot-tell`.
    pub crowded: &'static str,
    /// Mean NDVI of the reference.
    pub reference: f64,
    /// Slope of the index on N over the lower levels.
    pub lower: Option<SlopeOf>,
    /// Over the upper levels, the reference among them.
    pub upper: Option<SlopeOf>,
    /// p of no difference between the two.
    pub bend_p_value: Option<f64>,
    /// Slope of the leaf meter's index over the same upper levels.
    pub leaf_upper: Option<SlopeOf>,
}

/// A slope of an index on N.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SlopeOf {
    /// Lowest level of N.
    pub from_n: f64,
    /// Highest level of N.
    pub to_n: f64,
    /// Index a rate unit.
    pub slope: Interval,
    /// Two-sided p of no slope.
    pub p_value: f64,
}

/// Stand or N.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct StandOf {
    /// `tillers` or `plants`; `null` where neither was counted.
    pub counted: Option<&'static str>,
    /// Unit of stands.
    pub unit: &'static str,
    /// Plots counted.
    pub plots_counted: usize,
    /// The full stand: the median, or that of the reference plots where it is higher.
    pub full: Option<f64>,
    /// Below this a stand is thin.
    pub thin_below: Option<f64>,
    /// Whether the programme says so.
    pub thin_below_is_declared: bool,
    /// Plots with a thin stand.
    pub plots_thin: usize,
    /// The canopy index explained by stand and early N.
    pub model: Option<StandEffects>,
    /// Day of the leaf readings beside it.
    pub leaf_date: Option<String>,
    /// Plots with a low canopy index whose cause can be told.
    pub low: Vec<LowPlotOf>,
}

/// The canopy index explained by stand and early N.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct StandEffects {
    /// Plots.
    pub plots: usize,
    /// Degrees of freedom of error.
    pub df: usize,
    /// Whether blocks were removed.
    pub blocks_removed: bool,
    /// Share of the stand's variation that lies between blocks.
    pub stand_between_blocks: Option<f64>,
    /// Change of the index for a stand denser by a tenth of the full one.
    pub stand_tenth: EffectOf,
    /// Lowest and highest level of N.
    pub n_range: Option<[f64; 2]>,
    /// Change of the index from the lowest to the highest level of N.
    pub n: Option<EffectOf>,
}

/// A partial effect.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct EffectOf {
    /// The change of the index.
    pub change: Interval,
    /// Its standard error.
    pub standard_error: f64,
    /// p of no effect (of N: F test of all its levels).
    pub p_value: f64,
    /// Share of the index's variation that only this explains.
    pub unique_share: f64,
}

/// A plot with a low canopy index.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LowPlotOf {
    /// The plot, as typed.
    pub plot: String,
    /// `thin-stand`, `thin-stand-and-n`, `thin-stand-at-least`, `n` or `not-n`.
    pub because: &'static str,
    /// Its canopy index.
    pub index: f64,
    /// Its stand.
    pub stand: Option<f64>,
    /// Its index at a full stand, by the model.
    pub index_at_full_stand: Option<f64>,
    /// Its index by the leaf meter.
    pub leaf_index: Option<f64>,
}

/// How an instrument kept to its reference plate over a day.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PlateOf {
    /// Trial folder.
    pub trial: String,
    /// Kind of instrument.
    pub instrument: &'static str,
    /// Day.
    pub date: String,
    /// How far a reading may be off.
    pub tolerance: f64,
    /// `within-tolerance`, `out-of-tolerance` or `drifted`.
    pub kept: &'static str,
    /// Mean of reading − value of the plate.
    pub mean_deviation: f64,
    /// Hours from the first to the last reading.
    pub hours: Option<f64>,
    /// Change an hour.
    pub drift_per_hour: Option<f64>,
    /// Its standard error.
    pub drift_standard_error: Option<f64>,
    /// p of no drift.
    pub drift_p_value: Option<f64>,
    /// Change from the first reading to the last, by the line.
    pub drift_over_day: Option<f64>,
    /// Every reading.
    pub readings: Vec<PlateReadingOf>,
}

/// One reading of a plate.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PlateReadingOf {
    /// Time of day.
    pub time: String,
    /// Value of the plate.
    pub expected: f64,
    /// What was read.
    pub value: f64,
    /// Whether it is off by more than the tolerance.
    pub outside: bool,
}

impl LeafPrecision {
    pub(super) fn of(found: &Components, wanted_percent: Option<f64>) -> Self {
        let at = |readings: usize| PrecisionAt {
            readings,
            standard_error_percent: found.standard_error(found.plots, readings),
            index_standard_error: found.index_standard_error(found.plots, readings),
        };
        let wanted = wanted_percent.map(|percent| {
            let wanted = found.wanted(percent);
            WantedReadings { standard_error_percent: percent, readings: wanted.leaves, plots: wanted.plots }
        });
        Self {
            mean: found.mean,
            within_sd: found.within.sqrt(),
            within_df: found.within_df,
            between_sd: found.between.sqrt(),
            between_df: found.between_df,
            between_was_negative: found.between_was_negative,
            blocks_removed: found.blocks_removed,
            readings: found.readings,
            plots: found.plots,
            standard_error_percent: found.standard_error_percent.clone(),
            by_readings: LEAF_NUMBERS.into_iter().map(at).collect(),
            wanted,
        }
    }
}

impl ReferenceOf {
    pub(super) fn of(found: &ReferenceStudy) -> Self {
        let stages = found.other_stage.as_ref().map(|(rich, plots)| vec![rich.to_string(), plots.to_string()]);
        Self {
            variety: found.variety.clone(),
            within_block: found.within_block,
            verdict: found.verdict().name(),
            reference_plots: found.reference_plots,
            plots: found.plots,
            plots_above: found.above,
            mean_index: found.mean_index,
            other_stage: stages.unwrap_or_default(),
            thin_left_out: found.thin_left_out,
            by_reading: AgainstOthers::of(&found.reading),
            by_yield: found.yields.as_ref().map(AgainstOthers::of),
        }
    }
}

fn because(because: Because) -> &'static str {
    match because {
        Because::NothingToCompare => "nothing-to-compare",
        Because::LevelAbove => "level-above",
        Because::MoreNAbove => "more-n-above",
        Because::LessNAbove => "less-n-above",
        Because::LastStepSmall => "last-step-small",
        Because::PlateauReached => "plateau-reached",
        Because::NoneAbove => "none-above",
        Because::StillRising => "still-rising",
        Because::NotShown => "not-shown",
    }
}

impl AgainstOthers {
    fn of(found: &AgainstLevels) -> Self {
        Self {
            verdict: found.verdict.name(),
            because: because(found.because),
            reference: found.reference,
            reference_n: found.reference_n,
            highest_n: found.highest_n,
            highest_minus_reference_percent: found.highest_minus_reference.clone(),
            p_value: found.p,
            next_lower_n: found.last_step.as_ref().map(|(n, _)| *n),
            last_step_percent: found.last_step.as_ref().map(|(_, step)| step.clone()),
            plateau_from: found.plateau_from.clone(),
        }
    }
}

impl CrowdingOf {
    pub(super) fn of(found: &Crowding) -> Self {
        let slope = |slope: &Option<IndexSlope>| slope.as_ref().map(SlopeOf::of);
        Self {
            variety: found.variety.clone(),
            crowded: found.crowded.name(),
            reference: found.reference,
            lower: slope(&found.lower),
            upper: slope(&found.upper),
            bend_p_value: found.bend_p,
            leaf_upper: slope(&found.leaf_upper),
        }
    }
}

impl SlopeOf {
    fn of(found: &IndexSlope) -> Self {
        let [from_n, to_n] = found.over;
        Self { from_n, to_n, slope: found.slope.clone(), p_value: found.p }
    }
}

impl StandOf {
    pub(super) fn of(trial: &Trial, found: &Stand, rate_unit: NRateUnit) -> Self {
        let (unit, scale) = if rate_unit.is_per_acre() {
            (PER_SQUARE_FOOT, SQUARE_METRES_PER_SQUARE_FOOT)
        } else {
            (PER_SQUARE_METRE, 1.0)
        };
        let counts = found.counts.as_ref();
        let low = found.low.iter().filter_map(|low| {
            Some(LowPlotOf {
                plot: trial.plots.get(low.plot)?.id.clone(),
                because: low.because.name(),
                index: low.index,
                stand: low.stand.map(|stand| stand * scale),
                index_at_full_stand: low.at_full_stand,
                leaf_index: low.leaf_index,
            })
        });
        Self {
            counted: counts.map(|counts| counts.counted.name()),
            unit,
            plots_counted: counts.map_or(0, |counts| counts.plots),
            full: counts.map(|counts| counts.full * scale),
            thin_below: counts.map(|counts| counts.thin_below * scale),
            thin_below_is_declared: counts.is_some_and(|counts| counts.declared),
            plots_thin: counts.map_or(0, |counts| counts.thin),
            model: found.model.as_ref().map(StandEffects::of),
            leaf_date: found.leaf_date.map(|date| date.to_string()),
            low: low.collect(),
        }
    }
}

impl StandEffects {
    fn of(found: &StandModel) -> Self {
        debug_assert!((STAND_STEP - 0.1).abs() < f64::EPSILON, "the field is named for a tenth");
        Self {
            plots: found.plots,
            df: found.df,
            blocks_removed: found.blocks_removed,
            stand_between_blocks: found.stand_between_blocks,
            stand_tenth: EffectOf::of(&found.stand),
            n_range: found.n.as_ref().map(|(range, _)| *range),
            n: found.n.as_ref().map(|(_, effect)| EffectOf::of(effect)),
        }
    }
}

impl EffectOf {
    fn of(found: &Effect) -> Self {
        let Effect { change, standard_error, p, unique_share } = found.clone();
        Self { change, standard_error, p_value: p, unique_share }
    }
}

impl PlateOf {
    pub(super) fn of(trial: &Trial, found: &PlateDay) -> Self {
        let reading = |(position, reading): (usize, &crate::trial::PlateReading)| PlateReadingOf {
            time: reading.time.strftime("%H:%M").to_string(),
            expected: reading.expected,
            value: reading.value,
            outside: found.outside.contains(&position),
        };
        let drift = found.drift;
        Self {
            trial: trial.folder.clone(),
            instrument: found.instrument.name(),
            date: found.date.to_string(),
            tolerance: found.tolerance,
            kept: found.kept().name(),
            mean_deviation: found.mean_deviation,
            hours: drift.map(|drift| drift.hours),
            drift_per_hour: drift.map(|drift| drift.per_hour),
            drift_standard_error: drift.and_then(|drift| drift.standard_error),
            drift_p_value: drift.and_then(|drift| drift.p),
            drift_over_day: drift.map(|drift| drift.change),
            readings: found.readings.iter().enumerate().map(reading).collect(),
        }
    }
}
