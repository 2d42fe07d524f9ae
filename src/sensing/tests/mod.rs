//! The statistics of readings against values from outside.
