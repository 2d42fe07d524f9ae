//! sensing
