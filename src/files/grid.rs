//! Rows of cells with their true row numbers, whatever kind of file they came from.

use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};

/// The cells of a text file, sheet or Parquet file, titles and headers included.
///
/// All text is in one piece: a cell costs its letters and four bytes.
#[derive(Debug, Default)]
pub(super) struct Grid {
    text: String,
    /// Where each cell ends in `text`. It starts where the one before it ends, or `gap` bytes behind, and the first of a row where the
    /// row does.
    ends: Vec<u32>,
    /// Bytes between the cells of a row: 1 where `text` still holds their separators.
    gap: u32,
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
    /// Byte of `text` at which its first cell starts.
    start: u32,
}

/// A rectangle of merged cells: rows of the file from 1, columns from 0, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Merged {
    pub(super) rows: (u64, u64),
    pub(super) columns: (usize, usize),
}

/// Text that is cut by one thread at a time, in bytes.
const PIECE: usize = 1 << 20;

/// Where to cut a text so that each piece ends with a line feed, or with the text.
fn pieces(text: &[u8]) -> Vec<std::ops::Range<usize>> {
    let mut pieces = Vec::new();
    let mut start = 0;
    while start < text.len() {
        let rest = text.get(start + PIECE..).unwrap_or_default();
        let end = match rest.iter().position(|byte| *byte == b'\n') {
            Some(more) => start + PIECE + more + 1,
            None => text.len(),
        };
        pieces.push(start..end);
        start = end;
    }
    pieces
}

/// The cells of some lines; rows and first cells are counted from those of the piece.
struct Piece {
    ends: Vec<u32>,
    rows: Vec<Row>,
    lines: u32,
}

impl Piece {
    fn of(text: &str, range: std::ops::Range<usize>, separator: u8) -> Self {
        // Room for cells of five letters and rows of five cells; where they are smaller it grows.
        let (cells, rows) = (range.len() / 6, range.len() / 30);
        let mut piece = Self { ends: Vec::with_capacity(cells), rows: Vec::with_capacity(rows), lines: 0 };
        let (mut start, mut first) = (range.start, 0);
        let bytes = text.as_bytes().get(range.clone()).unwrap_or_default();
        for (position, byte) in (range.start..).zip(bytes) {
            if *byte == separator {
                piece.ends.push(four_bytes(position));
            } else if *byte == b'\n' || *byte == b'\r' {
                piece.end_line(start, position, &mut first);
                start = position + 1;
                piece.lines += u32::from(*byte == b'\n');
            }
        }
        piece.end_line(start, range.end, &mut first);
        piece
    }

    /// Ends the line that starts at `start`, whose first cell is `first` among all; an empty one is no row.
    fn end_line(&mut self, start: usize, end: usize, first: &mut usize) {
        if start < end {
            self.ends.push(four_bytes(end));
            self.rows.push(Row { number: self.lines, first: four_bytes(*first), start: four_bytes(start) });
            *first = self.ends.len();
        }
    }
}

/// A position, or the last one that four bytes hold: [`Grid::is_too_large`] tells.
fn four_bytes(position: usize) -> u32 {
    u32::try_from(position).unwrap_or(u32::MAX)
}

impl Grid {
    /// The cells of a text without any quote, whose lines end in a line feed, a carriage return or both. The text is kept as it is.
    pub(super) fn of_plain_text(text: String, separator: u8) -> Self {
        let pieces: Vec<Piece> =
            pieces(text.as_bytes()).into_par_iter().map(|piece| Piece::of(&text, piece, separator)).collect();
        let mut grid = Self { gap: 1, ..Self::default() };
        grid.ends.reserve_exact(pieces.iter().map(|piece| piece.ends.len()).sum());
        grid.rows.reserve_exact(pieces.iter().map(|piece| piece.rows.len()).sum());
        let mut lines = 1;
        for piece in pieces {
            let cells = four_bytes(grid.ends.len());
            let row = |row: Row| Row { number: row.number + lines, first: row.first.saturating_add(cells), ..row };
            grid.rows.extend(piece.rows.into_iter().map(row));
            grid.ends.extend_from_slice(&piece.ends);
            lines += piece.lines;
        }
        grid.text = text;
        grid
    }

    /// Starts a row.
    pub(super) fn start_row(&mut self, number: u64) {
        let number = u32::try_from(number).unwrap_or(u32::MAX);
        let (first, start) = (four_bytes(self.ends.len()), four_bytes(self.text.len()));
        self.rows.push(Row { number, first, start });
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

    fn end_cell(&mut self, typed: bool) {
        if typed && self.typed.is_empty() {
            self.typed = vec![false; self.ends.len()];
        }
        self.ends.push(four_bytes(self.text.len()));
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
        let row = self.rows.get(row).map(|this| (this, self.cells_of(row)));
        let (this, cells) = row?;
        let cell = cells.start.checked_add(column).filter(|cell| *cell < cells.end)?;
        let start = match column {
            0 => this.start,
            _ => *self.ends.get(cell - 1)? + self.gap,
        };
        self.text.get(start as usize..*self.ends.get(cell)? as usize).map(trimmed)
    }

    /// Whether a cell is kept as a number, date or truth value.
    pub(super) fn is_typed(&self, row: usize, column: usize) -> bool {
        !self.typed.is_empty() && self.typed.get(self.cells_of(row).start + column).copied().unwrap_or(false)
    }

    /// The cells of a row.
    pub(super) fn row(&self, row: usize) -> impl Iterator<Item = &str> {
        (0..self.width(row)).filter_map(move |column| self.text(row, column))
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
}

/// A cell without the white space around it; most have none.
fn trimmed(text: &str) -> &str {
    match text.as_bytes() {
        [] => text,
        [first, .., last] if first.is_ascii_graphic() && last.is_ascii_graphic() => text,
        _ => text.trim(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(grid: &Grid) -> Vec<(u64, Vec<&str>)> {
        (0..grid.len()).map(|row| (grid.number(row).unwrap(), grid.row(row).collect())).collect()
    }

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
        assert_eq!(rows(&grid), [(1, vec!["plot", "yield"]), (4, vec!["101", "72.5"]), (5, vec![""])]);
        assert_eq!((grid.width(2), grid.text(2, 1)), (1, None));
        assert_eq!((grid.is_typed(1, 0), grid.is_typed(1, 1), grid.is_typed(2, 0)), (false, true, false));
        assert!(grid.is_blank(2) && !grid.is_blank(1));
    }

    #[test]
    fn a_long_text_is_cut_in_pieces_as_if_in_one() {
        let line = |row: usize| format!("{row},{}", "x".repeat(row % 90));
        let text: String = (1..=40_000).map(|row| line(row) + "\n").collect();
        assert!(pieces(text.as_bytes()).len() > 1);
        let grid = Grid::of_plain_text(text, b',');
        assert_eq!(grid.len(), 40_000);
        for row in [0, 17_000, 23_456, 39_999] {
            assert_eq!(grid.number(row), Some(row as u64 + 1));
            assert_eq!(grid.row(row).collect::<Vec<_>>().join(","), line(row + 1));
        }
    }

    #[test]
    fn plain_text_is_cut_at_its_separators_and_line_ends() {
        let grid = Grid::of_plain_text("a,b\r\n\n1, é ,\r2\n,".to_owned(), b',');
        assert_eq!(rows(&grid), [(1, vec!["a", "b"]), (3, vec!["1", "é", ""]), (3, vec!["2"]), (4, vec!["", ""])]);
        assert!(rows(&Grid::of_plain_text(String::new(), b',')).is_empty());
    }
}
