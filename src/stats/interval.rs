//! interval
