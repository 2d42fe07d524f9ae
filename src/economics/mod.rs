//! economics
