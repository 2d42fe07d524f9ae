//! Figures of made-up trials, checked by what their SVG and PNG contain.

mod contents;
mod demo;
mod places;
mod refusals;
mod svg_reader;
