//! rate_table
