//! The published rate table, alone: read, write, look up, hand over.
//!
//! A [`RateTable`] is one JSON document that holds everything a field calculator needs and everything a
//! reader must know to trust it: rows of the index with their rates and intervals, the prices they hold
//! for, where they were calibrated, and cautions. It is checked when it is made and when it is read, and
//! carries a digest of its own text, so that an edited or cut-off copy is refused.
//!
//! # How a reading becomes a rate
//!
//! Every calculator must put a reading in the same row, so nothing here depends on how a machine rounds
//! fractions. [`LOOKUP_RULE`] says it in words and stands in every document and before the
//! [conformance vectors](RateTable::conformance_vectors); in whole numbers it is:
//!
//! 1. A reading or reference is decimal text: an optional sign, digits, at most one point. Its value is
//!    taken in whole millionths; the seventh decimal, if 5 or more, raises the sixth, and the rest is
//!    ignored. At most six digits stand before the point, zeros at the front not counted; spaces and tabs
//!    around the text don't matter.
//! 2. With `r` and `m` the millionths of reading and reference, the index in thousandths is
//!    `(2000·r + m) ÷ (2·m)`, the remainder dropped. That is ⌊1000·reading ÷ reference + ½⌋, and no step
//!    exceeds 2⁵³, so a calculator that only knows doubles gets it right too.
//! 3. A row holds `index_from ≤ index < index_below`; the last row also holds its `index_below`.
//!
//! An index outside the rows that have a rate has none, or the nearest row's, flagged; input that can't be
//! used is answered with the status `unusable` and the reason. A number given as `f64` is first written in
//! its shortest decimal form that reads back to the same number: 55.1 is `55.1`, not the fraction next to it.
//!
//! # Example
//! ```no_run
//! use stook::rate_table::{Asked, RateTable};
//! let table = RateTable::read(&std::fs::read_to_string("leaf-jointing.json")?)?;
//! let found = table.lookup("51", "55", &Asked { stage: Some("Feekes 5"), ..Asked::default() });
//! println!("index {:?}: {:?} {}", found.index, found.rate, found.rate_unit);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod cautions;
mod check;
mod conformance;
mod decimal;
mod document;
mod error;
mod long_form;
mod lookup;
mod table;
mod version_1;

pub use cautions::{CALIBRATED_RANGE_ONLY, LAW_FIRST, OTHER_CAUSES, reference_instructions};
pub use decimal::{Decimal, DecimalError, index_thousandths};
pub use document::{
    Document, Domain, IndexRows, Money, Price, RateRule, Relation, Row, RowInterval, RowRate, Settings, SiteYear,
    Stages, Support, UsableReadings, Verdict, VerdictWord, Warning,
};
pub use error::TableError;
pub use long_form::LONG_COLUMNS;
pub use lookup::{Asked, Lookup, Status};
pub use table::{LOOKUP_RULE, RateTable, SCHEMA};

#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod tests;
