//! The season's report as a document: one content model, written as HTML, as PDF and as tables. Results of others, computed nowhere here.

mod content;
mod draft;
mod findings;
mod in_units;
mod material;
mod trials;
mod yields;

pub use content::{Block, Cell, Column, Illustration, Report, Section, Table};
