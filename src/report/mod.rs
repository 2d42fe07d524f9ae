//! The season's report as a document: one content model, written as HTML, as PDF and as tables. Results of others, computed nowhere here.

mod content;
mod extent;
mod html;
#[cfg(feature = "pdf")]
mod pdf;
#[cfg(test)]
mod samples;

pub use content::{Block, Cell, Column, Illustration, Report, Section, Table};
pub use html::html;
#[cfg(feature = "pdf")]
pub use pdf::{Paper, PdfError, pdf};
