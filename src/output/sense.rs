//! The sufficiency index of every plot and treatment, and what the readings of a day tell beside it.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::long::{Long, number, text};
use super::sense_study::{CrowdingOf, LeafPrecision, PlateOf, ReferenceOf, StandOf};
use crate::files::export::Table;
use crate::season::{Sensing, TrialResult};
use crate::sensing::{PlotIndex, ShowsN, TreatmentMean, treatment_means};
use crate::trial::{Excluded, FlaggedLeaves, Plot, Programme, Trial};
use crate::units::NRateUnit;

/// The readings of every trial against their N-rich reference.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Sense {
    /// Unit of N rates.
    pub rate_unit: String,
    /// What becomes of leaves that read far from the rest of their plot: `keep` or `leave-out`.
    pub flagged_leaves: FlaggedLeaves,
    /// One entry for each trial, instrument and date.
    pub sensings: Vec<SensingOf>,
    /// How the instruments kept to their reference plates, one entry for each plate check and day.
    pub plates: Vec<PlateOf>,
}

/// The readings of one instrument on one date: `plots_read` = `used` + `excluded`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SensingOf {
    /// Trial folder.
    pub trial: String,
    /// Kind of instrument.
    pub instrument: &'static str,
    /// Day.
    pub date: String,
    /// Plots read.
    pub plots_read: usize,
    /// Plots with an index.
    pub used: usize,
    /// Plots read without an index, each with a reason.
    pub excluded: usize,
    /// Whether the readings show the N already on, by variety; empty where all plots had the same.
    pub shows_n: Vec<ShownN>,
    /// Whether the references are sufficient; empty where the trial has none.
    pub references: Vec<ReferenceOf>,
    /// Whether the canopy is crowded, a reference each; empty for a leaf meter.
    pub crowding: Vec<CrowdingOf>,
    /// Stand or N, of a canopy sensor; `null` where neither the stand was counted nor leaves were read.
    pub stand: Option<StandOf>,
    /// How readings and plots differ; `null` where plots have one reading each.
    pub precision: Option<LeafPrecision>,
    /// Leaves that read far from the rest of their plot.
    pub flagged: Vec<FlaggedLeaf>,
    /// Means of the treatments.
    pub treatments: Vec<TreatmentIndex>,
    /// Every plot read.
    pub plots: Vec<IndexOfPlot>,
}

/// A leaf that reads far from the rest of its plot.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FlaggedLeaf {
    /// The plot, as typed.
    pub plot: String,
    /// Leaf, where leaves are numbered.
    pub leaf: Option<u32>,
    /// Where on the plant it sat, as typed.
    pub position: Option<String>,
    /// As typed.
    pub reading: f64,
    /// The reading minus the median of its plot (of leaves at its position).
    pub distance: f64,
    /// That distance in robust standard deviations.
    pub deviations: f64,
    /// File.
    pub file: String,
    /// Row of the file.
    pub row: Option<u64>,
}

/// Mean reading and index one way.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct OneWay {
    /// Mean reading.
    pub reading: f64,
    /// Index.
    pub index: Option<f64>,
}

/// Whether readings show the N already on.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ShownN {
    /// Variety.
    pub variety: Option<String>,
    /// Whether they do.
    pub shown: bool,
    /// p of the F test of the N levels.
    pub p_value: f64,
    /// Mean reading at the lowest level of N ÷ mean reading at the highest.
    pub lowest_to_highest: f64,
}

/// One treatment: a variety at a level of N already on.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TreatmentIndex {
    /// Variety.
    pub variety: Option<String>,
    /// N already on.
    pub n_on: f64,
    /// Whether it is the N-rich reference.
    pub is_reference: bool,
    /// Plots with an index.
    pub plots: usize,
    /// Mean reading.
    pub reading: f64,
    /// Mean index.
    pub index: f64,
}

/// One plot.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct IndexOfPlot {
    /// The plot, as typed.
    pub plot: String,
    /// Row of the plots file.
    pub row: u64,
    /// Block.
    pub block: Option<String>,
    /// Variety.
    pub variety: Option<String>,
    /// N already on.
    pub n_on: f64,
    /// Growth stage.
    pub stage: Option<String>,
    /// Whether it is an N-rich reference plot.
    pub is_reference: bool,
    /// Mean reading.
    pub reading: Option<f64>,
    /// Readings it is the mean of.
    pub readings: usize,
    /// Their standard deviation.
    pub standard_deviation: Option<f64>,
    /// Their coefficient of variation, per cent.
    pub cv_percent: Option<f64>,
    /// Standard error of their mean, from their own spread.
    pub standard_error: Option<f64>,
    /// Leaves flagged as far from the rest of the plot.
    pub flagged: usize,
    /// With the flagged leaves of plot and reference; `null` where none is flagged.
    pub with_flagged: Option<OneWay>,
    /// Without them.
    pub without_flagged: Option<OneWay>,
    /// Mean reading of its reference.
    pub reference: Option<f64>,
    /// Reference plots that is the mean of.
    pub reference_plots: Option<usize>,
    /// Reading ÷ reference.
    pub index: Option<f64>,
    /// `used` or `excluded`.
    pub status: &'static str,
    /// Why it has no index.
    pub reason: Option<String>,
    /// What a low canopy index comes from, where that can be told.
    pub low_because: Option<&'static str>,
}

impl Sense {
    /// The sensings of a programme's trials, given in the order of the trials. With `wanted_se_percent`, a standard error of a treatment
    /// mean in per cent of the mean, it says how many leaves and plots that asks for.
    pub fn of(programme: &Programme, results: &[TrialResult], wanted_se_percent: Option<f64>) -> Self {
        let unit = programme.units.n_rate;
        let trials = || programme.trials.iter().zip(results);
        let entries = trials().flat_map(|(trial, result)| {
            result.sensings.iter().map(move |one| SensingOf::of(trial, one, unit, wanted_se_percent))
        });
        let plates = trials().flat_map(|(trial, result)| result.plates.iter().map(move |day| PlateOf::of(trial, day)));
        Self {
            rate_unit: unit.to_string(),
            flagged_leaves: programme.decisions.flagged_leaves,
            sensings: entries.collect(),
            plates: plates.collect(),
        }
    }

    /// Whether any plot has an index.
    #[must_use]
    pub fn any(&self) -> bool {
        self.sensings.iter().any(|sensing| sensing.used > 0)
    }
}

impl SensingOf {
    fn of(trial: &Trial, sensing: &Sensing, unit: NRateUnit, wanted_se_percent: Option<f64>) -> Self {
        let study = &sensing.study;
        let low = |plot: usize| {
            let low = study.stand.iter().flat_map(|stand| &stand.low).find(|low| low.plot == plot)?;
            Some(low.because.name())
        };
        let of_plot = |plot: &Plot| {
            let n_on = trial.n_already_on(plot, sensing.date, unit);
            IndexOfPlot::new(plot, n_on)
        };
        let read = sensing.indices.iter().filter_map(|found| {
            let plot = trial.plots.get(found.reading.plot)?;
            let row = IndexOfPlot { low_because: low(found.reading.plot), ..of_plot(plot).read(trial, found) };
            Some((found.reading.plot, row))
        });
        let mut plots: BTreeMap<usize, IndexOfPlot> = read.collect();
        for reading in &trial.readings {
            let left_out =
                trial.plots.get(reading.plot).and_then(|plot| Some((plot, plot.excluded(Excluded::Readings)?)));
            if let Some((plot, reason)) = left_out
                && (reading.instrument, reading.date) == (sensing.instrument, sensing.date)
            {
                let entry = plots.entry(reading.plot).or_insert_with(|| of_plot(plot).left_out(reason));
                entry.readings += 1;
            }
        }
        let plots: Vec<IndexOfPlot> = plots.into_values().collect();
        let used = plots.iter().filter(|plot| plot.index.is_some()).count();
        Self {
            trial: trial.folder.clone(),
            instrument: sensing.instrument.name(),
            date: sensing.date.to_string(),
            plots_read: plots.len(),
            used,
            excluded: plots.len() - used,
            shows_n: sensing.shows_n.iter().map(ShownN::of).collect(),
            references: study.references.iter().map(ReferenceOf::of).collect(),
            crowding: study.crowding.iter().map(CrowdingOf::of).collect(),
            stand: study.stand.as_ref().map(|stand| StandOf::of(trial, stand, unit)),
            precision: study.components.as_ref().map(|found| LeafPrecision::of(found, wanted_se_percent)),
            flagged: sensing.indices.iter().flat_map(|found| FlaggedLeaf::of_plot(trial, found)).collect(),
            treatments: treatment_means(trial, sensing.date, unit, &sensing.indices)
                .into_iter()
                .map(TreatmentIndex::from)
                .collect(),
            plots,
        }
    }
}

impl From<TreatmentMean> for TreatmentIndex {
    fn from(found: TreatmentMean) -> Self {
        let TreatmentMean { variety, n_on, is_reference, plots, reading, index } = found;
        Self { variety, n_on, is_reference, plots, reading, index }
    }
}

impl ShownN {
    fn of(found: &ShowsN) -> Self {
        Self {
            variety: found.variety.clone(),
            shown: found.is_shown(),
            p_value: found.p_value,
            lowest_to_highest: found.lowest_to_highest,
        }
    }
}

impl FlaggedLeaf {
    fn of_plot<'t>(trial: &'t Trial, found: &'t PlotIndex) -> impl Iterator<Item = Self> + 't {
        found.reading.flagged.iter().filter_map(|far| {
            let reading = trial.readings.get(far.reading)?;
            let place = trial.place_of(reading);
            Some(Self {
                plot: trial.plots.get(reading.plot)?.id.clone(),
                leaf: reading.leaf,
                position: trial.leaf_position(reading).map(str::to_owned),
                reading: reading.value,
                distance: far.distance,
                deviations: far.deviations,
                file: place.file,
                row: place.row,
            })
        })
    }
}

impl IndexOfPlot {
    fn new(plot: &Plot, n_on: f64) -> Self {
        Self {
            plot: plot.id.clone(),
            row: plot.row,
            block: plot.block.clone(),
            variety: plot.variety.clone(),
            n_on,
            stage: None,
            is_reference: plot.is_reference,
            reading: None,
            readings: 0,
            standard_deviation: None,
            cv_percent: None,
            standard_error: None,
            flagged: 0,
            with_flagged: None,
            without_flagged: None,
            reference: None,
            reference_plots: None,
            index: None,
            status: "excluded",
            reason: None,
            low_because: None,
        }
    }

    fn read(self, trial: &Trial, found: &PlotIndex) -> Self {
        let reading = &found.reading;
        let indexed = found.index.as_ref().ok();
        let differs = reading.other_mean.is_some() || indexed.is_some_and(|indexed| indexed.other_index.is_some());
        let as_decided = OneWay { reading: reading.mean, index: indexed.map(|indexed| indexed.index) };
        let otherwise = OneWay {
            reading: reading.other_mean.unwrap_or(reading.mean),
            index: indexed.and_then(|indexed| indexed.other_index),
        };
        let (with_flagged, without_flagged) = match trial.flagged_leaves {
            FlaggedLeaves::Keep => (as_decided, otherwise),
            FlaggedLeaves::LeaveOut => (otherwise, as_decided),
        };
        let read = Self {
            cv_percent: reading.cv_percent(),
            standard_error: reading.standard_error(),
            flagged: reading.flagged.len(),
            with_flagged: differs.then_some(with_flagged),
            without_flagged: differs.then_some(without_flagged),
            stage: reading.stage.as_ref().map(ToString::to_string),
            reading: Some(reading.mean),
            readings: reading.readings,
            standard_deviation: reading.standard_deviation,
            ..self
        };
        match &found.index {
            Ok(indexed) => Self {
                reference: Some(indexed.reference),
                reference_plots: Some(indexed.reference_plots),
                index: Some(indexed.index),
                status: "used",
                ..read
            },
            Err(reason) => Self { reason: Some(reason.to_string()), ..read },
        }
    }

    fn left_out(self, reason: &str) -> Self {
        Self { reason: Some(reason.to_owned()), ..self }
    }
}

impl Report for Sense {
    const COMMAND: &'static str = "sense";

    fn text(&self) -> String {
        super::sense_text::text(self)
    }

    fn table(&self) -> Table {
        let mut long = Long::new([
            "trial",
            "instrument",
            "date",
            "stage",
            "plot",
            "row",
            "block",
            "variety",
            "n_on",
            "rate_unit",
            "is_reference",
            "reading",
            "readings",
            "standard_deviation",
            "cv_percent",
            "standard_error",
            "reference",
            "reference_plots",
            "index",
            "status",
            "reason",
            "flagged_leaves",
            "reading_with_flagged",
            "index_with_flagged",
            "reading_without_flagged",
            "index_without_flagged",
            "low_because",
        ]);
        for sensing in &self.sensings {
            for plot in &sensing.plots {
                long.row([
                    sensing.trial.as_str().into(),
                    sensing.instrument.into(),
                    sensing.date.as_str().into(),
                    text(plot.stage.as_deref()),
                    plot.plot.as_str().into(),
                    plot.row.into(),
                    text(plot.block.as_deref()),
                    text(plot.variety.as_deref()),
                    number(plot.n_on),
                    self.rate_unit.as_str().into(),
                    if plot.is_reference { "yes" } else { "no" }.into(),
                    number(plot.reading),
                    plot.readings.into(),
                    number(plot.standard_deviation),
                    number(plot.cv_percent),
                    number(plot.standard_error),
                    number(plot.reference),
                    plot.reference_plots.into(),
                    number(plot.index),
                    plot.status.into(),
                    text(plot.reason.as_deref()),
                    plot.flagged.into(),
                    number(plot.with_flagged.as_ref().map(|way| way.reading)),
                    number(plot.with_flagged.as_ref().and_then(|way| way.index)),
                    number(plot.without_flagged.as_ref().map(|way| way.reading)),
                    number(plot.without_flagged.as_ref().and_then(|way| way.index)),
                    text(plot.low_because),
                ]);
            }
        }
        long.finish()
    }
}
