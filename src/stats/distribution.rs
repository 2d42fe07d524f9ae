//! distribution
