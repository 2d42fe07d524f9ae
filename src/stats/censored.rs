//! censored
