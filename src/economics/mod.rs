//! What a rate is worth.

pub mod optimum;
