//! least_squares
