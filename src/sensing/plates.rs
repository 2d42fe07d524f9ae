//! Reference plates: does an instrument keep to a known value, and does it drift over the day?

use jiff::civil::Date;

use crate::stats::distribution::t_two_sided;
use crate::stats::least_squares::solve;
use crate::trial::{Instrument, PlateCheck, PlateReading, Trial};

/// A drift is more than chance where chance gives as much this rarely.
const ALPHA: f64 = 0.05;
/// Residual sums of squares below this share of that of the deviations are rounding.
const ROUNDING: f64 = 1e-20;

/// How an instrument kept over one day.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateDay {
    /// Instrument.
    pub instrument: Instrument,
    /// Day.
    pub date: Date,
    /// How far a reading may be off.
    pub tolerance: f64,
    /// The readings, in order of time.
    pub readings: Vec<PlateReading>,
    /// Mean of reading − value of the plate.
    pub mean_deviation: f64,
    /// Positions in `readings` of those that are off by more than the tolerance.
    pub outside: Vec<usize>,
    /// The change over the day; `None` for readings of one time.
    pub drift: Option<Drift>,
}

/// A straight line of the deviations over the time of day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Hours from the first reading to the last.
    pub hours: f64,
    /// Change an hour, in the units of the reading.
    pub per_hour: f64,
    /// Its standard error; `None` where two readings or less leave no error, or all lie on the line.
    pub standard_error: Option<f64>,
    /// Two-sided p of no drift; `None` where there is no standard error.
    pub p: Option<f64>,
    /// Change from the first reading to the last, by the line.
    pub change: f64,
}

/// What is to be said of a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// Every reading within the tolerance, and no drift beyond it.
    Within,
    /// Readings off by more than the tolerance.
    Outside,
    /// Every reading within the tolerance, but the drift from the first to the last is larger than it.
    Drifted,
}

impl Kept {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Within => "within-tolerance",
            Self::Outside => "out-of-tolerance",
            Self::Drifted => "drifted",
        }
    }
}

impl PlateDay {
    /// Whether the instrument kept.
    #[must_use]
    pub fn kept(&self) -> Kept {
        if !self.outside.is_empty() {
            Kept::Outside
        } else if self.drifts() {
            Kept::Drifted
        } else {
            Kept::Within
        }
    }

    /// Whether the change over the day is larger than the tolerance and more than chance (of two readings, or readings on one line, larger
    /// than the tolerance).
    #[must_use]
    pub fn drifts(&self) -> bool {
        self.drift.is_some_and(|drift| drift.change.abs() > self.tolerance && drift.p.is_none_or(|p| p <= ALPHA))
    }

    fn of(check: &PlateCheck, readings: &[PlateReading]) -> Option<Self> {
        let date = readings.first()?.date;
        let deviations: Vec<f64> = readings.iter().map(|reading| reading.value - reading.expected).collect();
        // A deviation of exactly the tolerance is within it, whatever its last bits are.
        let limit = check.tolerance * (1.0 + 1e-9);
        let outside = deviations.iter().enumerate().filter(|(_, deviation)| deviation.abs() > limit);
        Some(Self {
            instrument: check.instrument,
            date,
            tolerance: check.tolerance,
            readings: readings.to_vec(),
            mean_deviation: deviations.iter().sum::<f64>() / deviations.len() as f64,
            outside: outside.map(|(position, _)| position).collect(),
            drift: drift(readings, &deviations),
        })
    }
}

fn drift(readings: &[PlateReading], deviations: &[f64]) -> Option<Drift> {
    let first = readings.first()?.time;
    let seconds = |reading: &PlateReading| reading.time.duration_since(first).as_secs() as f64;
    let hours: Vec<f64> = readings.iter().map(|reading| seconds(reading) / 3600.0).collect();
    let span = hours.iter().copied().reduce(f64::max).filter(|span| *span > 0.0)?;
    let fit = solve(&[vec![1.0; hours.len()], hours], deviations).ok()?;
    let per_hour = fit.coefficients.get(1).copied().flatten()?;
    let size: f64 = deviations.iter().map(|deviation| deviation * deviation).sum();
    let standard_error = fit.standard_error(&[0.0, 1.0]).filter(|_| fit.rss > ROUNDING * size);
    let p = standard_error.and_then(|error| t_two_sided(per_hour / error, fit.df as f64));
    Some(Drift { hours: span, per_hour, standard_error, p, change: per_hour * span })
}

/// The plate checks of a trial, one a plate check and day.
#[must_use]
pub fn plate_days(trial: &Trial) -> Vec<PlateDay> {
    let days = trial.plate_checks.iter().flat_map(|check| {
        check.readings.chunk_by(|a, b| a.date == b.date).filter_map(|readings| PlateDay::of(check, readings))
    });
    days.collect()
}
