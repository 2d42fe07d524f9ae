//! response
