//! How large the parts of a report are, for every writer alike.

use super::{Illustration, Table};

/// Width of a figure that states none, and the most that a page holds: the text width of a journal page, mm.
const WIDEST_DRAWING: f64 = 175.0;
/// Least width that can be read, mm.
const NARROWEST_DRAWING: f64 = 10.0;

impl Table {
    /// The number of columns, those counted that only a row has.
    pub(super) fn width(&self) -> usize {
        self.rows.iter().map(Vec::len).chain([self.columns.len()]).max().unwrap_or(0)
    }
}

impl Illustration {
    /// The width in print, mm, within what a page holds.
    pub(super) fn printed_width(&self) -> f64 {
        if self.width.is_finite() { self.width.clamp(NARROWEST_DRAWING, WIDEST_DRAWING) } else { WIDEST_DRAWING }
    }
}
