//! recommend
