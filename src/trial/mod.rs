//! trial
