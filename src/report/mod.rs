//! The season's report as a document: one content model, written as HTML, as PDF and as tables. Results of others, computed nowhere here.

mod content;

pub use content::{Block, Cell, Column, Illustration, Report, Section, Table};
