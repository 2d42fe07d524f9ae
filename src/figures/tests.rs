//! Figures of made-up trials, checked by what their SVG and PNG contain.

mod card;
mod contents;
mod coverage;
mod demo;
mod effects;
mod made_up;
mod means;
mod more_contents;
mod places;
mod prices;
mod refusals;
mod season;
mod svg_reader;
