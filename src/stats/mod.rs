//! Matrices, vectors and distributions: no crop, no file.

pub mod bounds;
pub mod censored;
pub mod clustered;
pub mod distribution;
pub mod dunnett;
pub mod interval;
pub mod isotonic;
pub mod jackknife;
pub mod least_squares;
pub mod letters;
pub mod levels;
pub mod mixed_model;
pub mod orthogonal_polynomials;
mod piece;
pub mod polynomial;
pub mod quantile;
pub mod random_effects;
pub mod root;
pub mod shapiro_wilk;
pub mod spread;
pub mod stream;
mod studentized;
pub mod studentized_range;
