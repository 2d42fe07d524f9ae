//! From evidence and prices to a rate table.
//!
//! Order of derivation: relation → prices (one calibration a price ratio) → rate at the midpoint of each row → isotonic, weighted
//! by support → clamp → round.

mod derive;
mod money;
mod rederive;
mod reprice;
mod specified;

pub use derive::{Derived, Heading, NEW_SITE_YEARS, NoTable, derive};
pub use rederive::{Changes, NotRederived, rates_alone, rederive};
pub use reprice::{NewPrices, REPRICED, reprice};
pub use specified::{heading, settings};
