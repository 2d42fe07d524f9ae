//! calibration
