//! The statistics of readings against values from outside: NumPy, SciPy and statsmodels, or reckoned by hand, as each test says.

mod canopy;
mod leaves;
mod plates;
mod stand;

use jiff::civil::{Date, date};

use super::{Asked, Study, indices};
use crate::trial::example::{application, plot, trial};
use crate::trial::{Instrument, NeedFrom, Plot, Reading, Reference, SharedWithin, Timing, Trial};
use crate::units::NRateUnit;

/// References carry every digit of a double; the order of operations may differ.
const COMPUTED: f64 = 1e-9;

const CANOPY: Instrument = Instrument::CanopyNdvi;
const LEAF: Instrument = Instrument::LeafChlorophyll;
const DAY: Date = date(2024, 4, 2);

/// A plot with its block and N, whether it is the reference, and its readings.
type Row<'r> = (&'r str, f64, bool, Vec<f64>);

/// A trial of these plots, read on one day.
fn read(instrument: Instrument, rows: &[Row<'_>]) -> Trial {
    let plots: Vec<Plot> = rows
        .iter()
        .enumerate()
        .map(|(position, (block, n, is_reference, _))| Plot {
            is_reference: *is_reference,
            harvest: None,
            ..plot(&format!("{}", 101 + position), block, *n, 0.0)
        })
        .collect();
    let mut trial = trial(plots);
    trial.reference = Some(Reference { also_treatment: true, shared_within: SharedWithin::default() });
    let values: Vec<Vec<f64>> = rows.iter().map(|row| row.3.clone()).collect();
    add_readings(&mut trial, instrument, DAY, &values);
    trial
}

fn add_readings(trial: &mut Trial, instrument: Instrument, date: Date, values: &[Vec<f64>]) {
    let readings = values.iter().enumerate().flat_map(|(plot, values)| {
        values.iter().enumerate().map(move |(leaf, value)| Reading {
            plot,
            instrument,
            date,
            stage: None,
            leaf: Some(leaf as u32 + 1),
            position: None,
            value: *value,
            column: 0,
            row: 2,
        })
    });
    trial.readings.extend(readings);
    trial.readings.sort_by_key(|reading| (reading.instrument, reading.date, reading.plot, reading.leaf));
}

fn study_with(trial: &Trial, instrument: Instrument, yields: &[Option<f64>]) -> Study {
    let asked = Asked { unit: NRateUnit::PoundsPerAcre, level: 0.95, thin_stand_below: None, yields };
    Study::of(trial, instrument, DAY, &indices(trial, instrument, DAY), &asked)
}

fn study(trial: &Trial, instrument: Instrument) -> Study {
    study_with(trial, instrument, &[])
}

/// The same with N that a topdress after the readings decides.
fn topdressed(mut trial: Trial) -> Trial {
    trial.need_from = NeedFrom::TopdressResponse;
    let topdress =
        crate::trial::Application { date: date(2024, 4, 10), ..application("topdress", Timing::DecidedBySensing) };
    trial.applications.push(topdress);
    trial
}
