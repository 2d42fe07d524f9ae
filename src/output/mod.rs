//! Finished results as JSON, text tables and long CSV. Nothing is estimated here.
//!
//! A result is first brought into a [`Report`]: the very structure that its JSON has. Text and CSV are written from that, so what is
//! printed is what a script can read. Every JSON document is a report in an [`Envelope`]: schema, version, inputs, options, seed and
//! warnings around it.

mod curves;
mod curves_text;
mod envelope;
mod folder;
mod group;
mod interval_words;
mod layout;
mod long;
mod numbers;
mod optimum;
mod optimum_text;

pub use curves::{Coefficients, CurveGroup, Curves, FamilyCurve, LeftOut, Mean, Treatment};
pub use envelope::{Envelope, Format, Provenance, Report, Warning, json, render, warnings_text};
pub use folder::{OutputFile, WriteError, write_file, write_folder};
pub use optimum::{AtPrice, Optima, OptimumGroup, OptimumOf, Prices};
