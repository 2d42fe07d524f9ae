//! Rows of cells with their true row numbers, whatever kind of file they came from.

use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};

/// The cells of a text file, sheet or Parquet file, titles and headers included.
///
/// All text is in one piece. Beside it, a text file costs eight bytes a row: its rows are cut into cells when they are asked for.
#[derive(Debug, Default)]
pub(super) struct Grid {
    text: String,
    rows: Vec<Row>,
    cells: Cells,
    /// Merged cells of a sheet.
    pub(super) merged: Vec<Merged>,
}

/// How the cells stand in the text.
#[derive(Debug)]
enum Cells {
    /// As in the file, this separator between them.
    Separated(u8),
    /// Without anything between them.
    Apart {
        /// Where each cell ends. It starts where the one before it ends.
        ends: Vec<u32>,
        /// Whether each is a number, date or truth value rather than text; empty where all are text.
        typed: Vec<bool>,
    },
}

impl Default for Cells {
    fn default() -> Self {
        Self::Apart { ends: Vec::new(), typed: Vec::new() }
    }
}

#[derive(Clone, Copy, Debug)]
struct Row {
    /// Row of the file, from 1.
    number: u32,
    /// Byte of the text at which it starts; position of its first cell where cells stand apart.
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

/// The rows of some lines, numbered from 0.
struct Piece {
    rows: Vec<Row>,
    lines: u32,
}

impl Piece {
    fn of(text: &str, range: std::ops::Range<usize>) -> Self {
        // Room for rows of five cells; where they are shorter it grows.
        let mut piece = Self { rows: Vec::with_capacity(range.len() / 30), lines: 0 };
        let mut start = range.start;
        for line in text.get(range).unwrap_or_default().split_inclusive('\n') {
            let mut part_start = start;
            for part in line.trim_end_matches('\n').split('\r') {
                // An empty line is no row.
                if !part.is_empty() {
                    piece.rows.push(Row { number: piece.lines, start: four_bytes(part_start) });
                }
                part_start += part.len() + 1;
            }
            start += line.len();
            piece.lines += 1;
        }
        piece
    }
}

/// A position, or the last one that four bytes hold: [`Grid::is_too_large`] tells.
fn four_bytes(position: usize) -> u32 {
    u32::try_from(position).unwrap_or(u32::MAX)
}

impl Grid {
    /// The cells of a text without any quote, whose lines end in a line feed, a carriage return or both. The text is kept as it is.
    pub(super) fn of_plain_text(text: String, separator: u8) -> Self {
        let pieces: Vec<Piece> = pieces(text.as_bytes()).into_par_iter().map(|piece| Piece::of(&text, piece)).collect();
        let mut rows = Vec::with_capacity(pieces.iter().map(|piece| piece.rows.len()).sum());
        let mut lines = 1;
        for piece in pieces {
            rows.extend(piece.rows.into_iter().map(|row| Row { number: row.number + lines, ..row }));
            lines += piece.lines;
        }
        Self { text, rows, cells: Cells::Separated(separator), merged: Vec::new() }
    }

    /// Starts a row.
    pub(super) fn start_row(&mut self, number: u64) {
        let Cells::Apart { ends, .. } = &self.cells else { return };
        self.rows.push(Row { number: u32::try_from(number).unwrap_or(u32::MAX), start: four_bytes(ends.len()) });
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

    fn end_cell(&mut self, is_typed: bool) {
        let Cells::Apart { ends, typed } = &mut self.cells else { return };
        if is_typed && typed.is_empty() {
            *typed = vec![false; ends.len()];
        }
        ends.push(four_bytes(self.text.len()));
        if is_typed || !typed.is_empty() {
            typed.push(is_typed);
        }
    }

    /// Whether it holds more than its four-byte positions can tell apart.
    pub(super) fn is_too_large(&self) -> bool {
        let cells = match &self.cells {
            Cells::Separated(_) => 0,
            Cells::Apart { ends, .. } => ends.len(),
        };
        self.text.len().max(cells) >= u32::MAX as usize
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
        match &self.cells {
            Cells::Separated(separator) => {
                // Wrapping, so that many bytes are counted at once; a row has fewer than 2^32.
                let count = |count: u32, byte: &u8| count.wrapping_add(u32::from(byte == separator));
                self.line(row).map_or(0, |line| 1 + line.as_bytes().iter().fold(0, count) as usize)
            }
            Cells::Apart { ends, .. } => self.cells_of(row, ends).len(),
        }
    }

    /// The trimmed text of a cell; `None` where the row ends before it.
    pub(super) fn text(&self, row: usize, column: usize) -> Option<&str> {
        self.row(row).nth(column)
    }

    /// Whether a cell is kept as a number, date or truth value.
    pub(super) fn is_typed(&self, row: usize, column: usize) -> bool {
        match &self.cells {
            Cells::Apart { ends, typed } if !typed.is_empty() => {
                typed.get(self.cells_of(row, ends).start + column).copied().unwrap_or(false)
            }
            _ => false,
        }
    }

    /// The cells of a row, trimmed.
    pub(super) fn row(&self, row: usize) -> impl Iterator<Item = &str> {
        let (separated, apart) = match &self.cells {
            Cells::Separated(separator) => (self.line(row).map(|line| split(line, *separator)), None),
            Cells::Apart { ends, .. } => {
                let cells = self.cells_of(row, ends);
                let before = cells.start.checked_sub(1).and_then(|before| ends.get(before)).copied().unwrap_or(0);
                let mut start = before as usize;
                let cell = move |end: &u32| {
                    let cell = self.text.get(start..*end as usize);
                    start = *end as usize;
                    cell
                };
                (None, ends.get(cells).map(|ends| ends.iter().filter_map(cell)))
            }
        };
        separated.into_iter().flatten().chain(apart.into_iter().flatten()).map(trimmed)
    }

    /// Whether nothing stands in a row.
    pub(super) fn is_blank(&self, row: usize) -> bool {
        self.row(row).all(str::is_empty)
    }

    /// A row of separated cells without the line ends behind it.
    fn line(&self, row: usize) -> Option<&str> {
        let start = self.rows.get(row)?.start as usize;
        let end = self.rows.get(row + 1).map_or(self.text.len(), |next| next.start as usize);
        self.text.get(start..end).map(|line| line.trim_end_matches(['\r', '\n']))
    }

    /// The positions of a row's cells, among cells that stand apart.
    fn cells_of(&self, row: usize, ends: &[u32]) -> std::ops::Range<usize> {
        let Some(this) = self.rows.get(row) else { return 0..0 };
        let end = self.rows.get(row + 1).map_or(ends.len(), |next| next.start as usize);
        this.start as usize..end
    }
}

/// What stands between separators, which are one byte each. Cells are a few bytes long: looked at one by one they are cut sooner
/// than by a search that gathers speed.
fn split(line: &str, separator: u8) -> impl Iterator<Item = &str> {
    let mut next = Some(0);
    std::iter::from_fn(move || {
        let start = next?;
        let rest = line.as_bytes().get(start..)?;
        let length = rest.iter().position(|byte| *byte == separator);
        next = length.map(|length| start + length + 1);
        line.get(start..start + length.unwrap_or(rest.len()))
    })
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
