//! Plot means of readings, the N-rich reference they are read against, and the sufficiency index.
//!
//! index = reading ÷ reference. The reference of a plot is the mean of the N-rich plots that share its variety (and its block,
//! where the trial says so), read with the same instrument on the same date.

mod dates;
mod index;
mod plot_mean;
mod shows_n;
mod treatment_mean;

pub use dates::{DateChoice, NoDate, choose_date};
pub use index::{PlotIndex, Unindexed, indices};
pub use plot_mean::{PlotMean, plot_means};
pub use shows_n::{ShowsN, shows_n};
pub use treatment_mean::{TreatmentMean, treatment_means};

use jiff::civil::Date;

use crate::trial::{Instrument, Trial};

/// Every instrument and date a trial was sensed with and on, in that order.
#[must_use]
pub fn sensings(trial: &Trial) -> Vec<(Instrument, Date)> {
    crate::trial::sensings(&trial.readings)
}
