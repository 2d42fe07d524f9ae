//! From calibration and prices to a rate table.
//!
//! Order of derivation: relation → prices (one calibration a price ratio) → rate at the midpoint of each row → isotonic, weighted
//! by support → clamp → round.

mod derive;
mod money;

pub use derive::{Evidence, NoTable, derive_table};
