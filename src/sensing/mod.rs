//! Plot means of readings, the N-rich reference they are read against, the sufficiency index, and what makes it doubtful.
//!
//! index = reading ÷ reference. The reference of a plot is the mean of the N-rich plots that share its variety (and its block,
//! where the trial says so), read with the same instrument on the same date.
//!
//! | question | answered by |
//! |---|---|
//! | what did a plot read, and which of its leaves lie far from the others? | [`plot_means`] |
//! | what is its index, or why is there none? | [`indices`] |
//! | do the readings show the N that is on? | [`shows_n`] |
//! | how many leaves and plots for a wanted precision? | [`Components`] |
//! | is the reference sufficient? | [`ReferenceStudy`] |
//! | is the canopy crowded? | [`Crowding`] |
//! | a thin stand or short N? | [`Stand`] |
//! | did the instrument keep to its plate? | [`plate_days`] |
//!
//! Components, reference, crowding and stand are together in the [`Study`] of a day. Nothing here depends on the scale of the readings but the height at which a
//! canopy is said to crowd.

mod components;
mod crowding;
mod dates;
mod far_leaves;
mod index;
mod level_fit;
mod plates;
mod plot_mean;
mod reference;
mod shows_n;
mod stand;
mod stand_model;
mod study;
mod sufficiency;
mod treatment_mean;

#[cfg(test)]
mod tests;

pub use components::{Components, LEAF_NUMBERS, Wanted};
pub use crowding::{CROWDING_NDVI, Crowded, Crowding, IndexSlope};
pub use dates::{DateChoice, NoDate, choose_date};
pub use far_leaves::FarLeaf;
pub use index::{Indexed, PlotIndex, Unindexed, indices};
pub use plates::{Drift, Kept, PlateDay, plate_days};
pub use plot_mean::{PlotMean, plot_means};
pub use reference::ReferenceStudy;
pub use shows_n::{ShowsN, shows_n};
pub use stand::{Counted, LOW_INDEX, LowBecause, LowPlot, Stand, StandCounts, THIN_SHARE};
pub use stand_model::{Effect, STAND_STEP, StandModel};
pub use study::{Asked, Study};
pub use sufficiency::{AgainstLevels, Because, MARGIN, Verdict};
pub use treatment_mean::{ReadingMean, TreatmentMean, reading_means, treatment_means};

use jiff::civil::Date;

use crate::trial::{Instrument, Trial};

/// Every instrument and date a trial was sensed with and on, in that order.
#[must_use]
pub fn sensings(trial: &Trial) -> Vec<(Instrument, Date)> {
    crate::trial::sensings(&trial.readings)
}
