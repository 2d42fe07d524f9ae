//! isotonic
