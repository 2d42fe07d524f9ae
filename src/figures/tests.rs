//! Figures of made-up trials, checked by what their SVG and PNG contain.

mod contents;
mod coverage;
mod demo;
mod places;
mod refusals;
mod svg_reader;
