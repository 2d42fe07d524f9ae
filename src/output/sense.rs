//! The sufficiency index of every plot and treatment, and whether the readings show the N already on.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::long::{Long, number, text};
use crate::files::export::Table;
use crate::season::Sensing;
use crate::sensing::{PlotIndex, ShowsN, TreatmentMean, treatment_means};
use crate::trial::{Excluded, Plot, Programme, Trial};
use crate::units::NRateUnit;

/// The readings of every trial against their N-rich reference.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Sense {
    /// Unit of N rates.
    pub rate_unit: String,
    /// One entry for each trial, instrument and date.
    pub sensings: Vec<SensingOf>,
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
    /// Means of the treatments.
    pub treatments: Vec<TreatmentIndex>,
    /// Every plot read.
    pub plots: Vec<IndexOfPlot>,
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
}

impl Sense {
    /// The sensings of a programme's trials, given in the order of the trials.
    pub fn of<'a>(programme: &Programme, sensings: impl IntoIterator<Item = &'a [Sensing]>) -> Self {
        let unit = programme.units.n_rate;
        let trials = programme.trials.iter().zip(sensings);
        let entries =
            trials.flat_map(|(trial, sensings)| sensings.iter().map(move |one| SensingOf::of(trial, one, unit)));
        Self { rate_unit: unit.to_string(), sensings: entries.collect() }
    }

    /// Whether any plot has an index.
    #[must_use]
    pub fn any(&self) -> bool {
        self.sensings.iter().any(|sensing| sensing.used > 0)
    }
}

impl SensingOf {
    fn of(trial: &Trial, sensing: &Sensing, unit: NRateUnit) -> Self {
        let of_plot = |plot: &Plot| {
            let n_on = trial.n_already_on(plot, sensing.date, unit);
            IndexOfPlot::new(plot, n_on)
        };
        let read = sensing.indices.iter().filter_map(|found| {
            let plot = trial.plots.get(found.reading.plot)?;
            Some((found.reading.plot, of_plot(plot).read(found)))
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
            reference: None,
            reference_plots: None,
            index: None,
            status: "excluded",
            reason: None,
        }
    }

    fn read(self, found: &PlotIndex) -> Self {
        let reading = &found.reading;
        let read = Self {
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
            "reference",
            "reference_plots",
            "index",
            "status",
            "reason",
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
                    number(plot.reference),
                    plot.reference_plots.into(),
                    number(plot.index),
                    plot.status.into(),
                    text(plot.reason.as_deref()),
                ]);
            }
        }
        long.finish()
    }
}
