//! Readings of a reference plate: whether an instrument kept to its value over the day.

use jiff::civil::{Date, Time};

use super::Instrument;
use crate::finding::Place;

/// Readings of a plate of known value with one instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateCheck {
    /// Instrument.
    pub instrument: Instrument,
    /// How far a reading of the plate may be from its value, in the units of the reading; above 0.
    pub tolerance: f64,
    /// In order of day and time.
    pub readings: Vec<PlateReading>,
}

/// One reading of a plate.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateReading {
    /// Day.
    pub date: Date,
    /// Time of day.
    pub time: Time,
    /// The plate's value.
    pub expected: f64,
    /// What the instrument read.
    pub value: f64,
    /// The cell or key it stands in.
    pub place: Place,
}
