//! Figures of made-up trials, checked by what their SVG and PNG contain.

mod card;
mod contents;
mod coverage;
mod demo;
mod made_up;
mod more_contents;
mod places;
mod refusals;
mod svg_reader;
