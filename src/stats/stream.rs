//! stream
