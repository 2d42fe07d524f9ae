//! polynomial
