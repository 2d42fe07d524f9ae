//! harvest
