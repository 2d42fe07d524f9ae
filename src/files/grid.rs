//! Rows of cells with their true row numbers, whatever kind of file they came from.

/// The cells of a text file, sheet or Parquet file, titles and headers included.
///
/// Text is packed: a cell costs its letters and four bytes.
#[derive(Debug, Default)]
pub(super) struct Grid {
    text: String,
    /// Where each cell ends in `text`; it starts where the one before it ends.
    ends: Vec<u32>,
    /// Whether each cell is a number, date or truth value rather than text; empty where all is text.
    typed: Vec<bool>,
    rows: Vec<Row>,
    /// Merged cells of a sheet.
    pub(super) merged: Vec<Merged>,
}

#[derive(Clone, Copy, Debug)]
struct Row {
    /// Row of the file, from 1.
    number: u32,
    /// Position of its first cell in [`Grid::ends`].
    first: u32,
}

/// A rectangle of merged cells: rows of the file from 1, columns from 0, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Merged {
    pub(super) rows: (u64, u64),
    pub(super) columns: (usize, usize),
}

impl Grid {
    /// Room for a text of this many bytes.
    pub(super) fn with_capacity(bytes: usize) -> Self {
        Self { text: String::with_capacity(bytes), ..Self::default() }
    }

    /// Starts a row.
    pub(super) fn start_row(&mut self, number: u64) {
        let number = u32::try_from(number).unwrap_or(u32::MAX);
        self.rows.push(Row { number, first: self.ends.len() as u32 });
    }

    /// Adds a cell of text to the last row.
    pub(super) fn push(&mut self, text: &str) {
        self.text.push_str(text);
        self.end_cell(false);
    }

    /// Adds a cell that the file keeps as a number, a date or a truth value.
    pub(super) fn push_typed(&mut self, value: impl std::fmt::Display) {
        use std::fmt::Write as _;
        // Writing to a string never fails.
        let _ = write!(self.text, "{value}");
        self.end_cell(true);
    }

    /// Adds every cell of a record at once: its letters without separators, and where each cell ends in them.
    pub(super) fn push_record(&mut self, letters: &str, ends: impl Iterator<Item = usize>) {
        let before = self.text.len();
        self.text.push_str(letters);
        self.ends.extend(ends.map(|end| u32::try_from(before + end).unwrap_or(u32::MAX)));
    }

    fn end_cell(&mut self, typed: bool) {
        if typed && self.typed.is_empty() {
            self.typed = vec![false; self.ends.len()];
        }
        self.ends.push(u32::try_from(self.text.len()).unwrap_or(u32::MAX));
        if typed || !self.typed.is_empty() {
            self.typed.push(typed);
        }
    }

    /// Whether it holds more than its four-byte positions can tell apart.
    pub(super) fn is_too_large(&self) -> bool {
        let largest = u32::MAX as usize;
        self.text.len() >= largest || self.ends.len() >= largest
    }

    /// Number of rows.
    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// Row of the file at a position, from 1.
    pub(super) fn number(&self, row: usize) -> Option<u64> {
        self.rows.get(row).map(|row| u64::from(row.number))
    }

    /// Number of cells in a row.
    pub(super) fn width(&self, row: usize) -> usize {
        self.cells_of(row).len()
    }

    /// The trimmed text of a cell; `None` where the row ends before it.
    pub(super) fn text(&self, row: usize, column: usize) -> Option<&str> {
        let cells = self.cells_of(row);
        let cell = cells.start.checked_add(column).filter(|cell| *cell < cells.end)?;
        self.cell(cell)
    }

    /// Whether a cell is kept as a number, date or truth value.
    pub(super) fn is_typed(&self, row: usize, column: usize) -> bool {
        !self.typed.is_empty() && self.typed.get(self.cells_of(row).start + column).copied().unwrap_or(false)
    }

    /// The cells of a row.
    pub(super) fn row(&self, row: usize) -> impl Iterator<Item = &str> {
        self.cells_of(row).filter_map(|cell| self.cell(cell))
    }

    /// Whether nothing stands in a row.
    pub(super) fn is_blank(&self, row: usize) -> bool {
        self.row(row).all(str::is_empty)
    }

    fn cells_of(&self, row: usize) -> std::ops::Range<usize> {
        let Some(this) = self.rows.get(row) else { return 0..0 };
        let end = self.rows.get(row + 1).map_or(self.ends.len(), |next| next.first as usize);
        this.first as usize..end
    }

    fn cell(&self, cell: usize) -> Option<&str> {
        let start = match cell.checked_sub(1) {
            Some(before) => *self.ends.get(before)? as usize,
            None => 0,
        };
        let end = *self.ends.get(cell)? as usize;
        self.text.get(start..end).map(str::trim)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_come_back_as_they_went_in() {
        let mut grid = Grid::default();
        grid.start_row(1);
        grid.push(" plot ");
        grid.push("yield");
        grid.start_row(4);
        grid.push("101");
        grid.push_typed(72.5);
        grid.start_row(5);
        grid.push("");
        let rows: Vec<Vec<&str>> = (0..grid.len()).map(|row| grid.row(row).collect()).collect();
        assert_eq!(rows, [vec!["plot", "yield"], vec!["101", "72.5"], vec![""]]);
        assert_eq!((grid.number(1), grid.width(2), grid.text(2, 1)), (Some(4), 1, None));
        assert_eq!((grid.is_typed(1, 0), grid.is_typed(1, 1), grid.is_typed(2, 0)), (false, true, false));
        assert!(grid.is_blank(2) && !grid.is_blank(1));
    }
}
