//! crop
