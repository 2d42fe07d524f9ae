//! Rows of cells with their true row numbers, whatever kind of file they came from.

use std::ops::Range;

use memchr::memchr2_iter;
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
    /// As in the file.
    Separated {
        by: u8,
        /// Number of cells in every row, where all have as many and none is blank.
        even_width: Option<usize>,
    },
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
fn pieces(text: &[u8]) -> Vec<Range<usize>> {
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
    /// Cells of the narrowest and the widest row; a row that may be blank counts as one without cells.
    widths: (usize, usize),
}

impl Piece {
    fn of(text: &[u8], range: Range<usize>, separator: u8) -> Self {
        // Room for rows of five cells; where they are shorter it grows.
        let rows = Vec::with_capacity(range.len() / 30);
        let mut piece = Self { rows, lines: 0, widths: (usize::MAX, 0) };
        let mut start = range.start;
        let bytes = text.get(range.clone()).unwrap_or_default();
        let line_ends = memchr2_iter(b'\n', b'\r', bytes).map(|position| range.start + position);
        for end in line_ends.chain([range.end]) {
            // An empty line is no row.
            if let Some(line @ [first, ..]) = text.get(start..end) {
                piece.rows.push(Row { number: piece.lines, start: four_bytes(start) });
                let is_filled = first.is_ascii_graphic() && *first != separator;
                let width = if is_filled { count_cells(line, separator) } else { 0 };
                piece.widths = (piece.widths.0.min(width), piece.widths.1.max(width));
            }
            piece.lines += u32::from(end < range.end && text.get(end) == Some(&b'\n'));
            start = end + 1;
        }
        piece
    }
}

fn count_cells(line: &[u8], separator: u8) -> usize {
    // Wrapping, so that many bytes are counted at once; no line has 2^32.
    1 + line.iter().fold(0_u32, |count, byte| count.wrapping_add(u32::from(*byte == separator))) as usize
}

/// A position, or the last one that four bytes hold: [`Grid::is_too_large`] tells.
fn four_bytes(position: usize) -> u32 {
    u32::try_from(position).unwrap_or(u32::MAX)
}

impl Grid {
    /// The cells of a text without any quote, whose lines end in a line feed, a carriage return or both. The text is kept as it is.
    pub(super) fn of_plain_text(text: String, separator: u8) -> Self {
        let pieces: Vec<Piece> =
            pieces(text.as_bytes()).into_par_iter().map(|range| Piece::of(text.as_bytes(), range, separator)).collect();
        let mut rows = Vec::with_capacity(pieces.iter().map(|piece| piece.rows.len()).sum());
        let (mut lines, mut widths) = (1, (usize::MAX, 0));
        for piece in pieces {
            rows.extend(piece.rows.into_iter().map(|row| Row { number: row.number + lines, ..row }));
            lines += piece.lines;
            widths = (widths.0.min(piece.widths.0), widths.1.max(piece.widths.1));
        }
        let even_width = Some(widths.0).filter(|width| *width > 0 && *width == widths.1);
        Self { text, rows, cells: Cells::Separated { by: separator, even_width }, merged: Vec::new() }
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
            Cells::Separated { .. } => 0,
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

    /// Number of cells in every row, where it is known that all have as many and that none is blank.
    pub(super) fn even_width(&self) -> Option<usize> {
        match self.cells {
            Cells::Separated { even_width, .. } => even_width,
            Cells::Apart { .. } => None,
        }
    }

    /// Number of cells in a row.
    pub(super) fn width(&self, row: usize) -> usize {
        match &self.cells {
            Cells::Separated { by, .. } => self.line(row).map_or(0, |line| count_cells(line.as_bytes(), *by)),
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
            Cells::Separated { by, .. } => (self.line(row).map(|line| split(line, *by)), None),
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

    /// A row of separated cells, without the line ends behind it.
    fn line(&self, row: usize) -> Option<&str> {
        let start = self.rows.get(row)?.start as usize;
        let end = self.rows.get(row + 1).map_or(self.text.len(), |next| next.start as usize);
        let line = self.text.get(start..end)?;
        let last = line.bytes().rposition(|byte| !matches!(byte, b'\r' | b'\n'))?;
        line.get(..=last)
    }

    /// The positions of a row's cells, among cells that stand apart.
    fn cells_of(&self, row: usize, ends: &[u32]) -> Range<usize> {
        let Some(this) = self.rows.get(row) else { return 0..0 };
        let end = self.rows.get(row + 1).map_or(ends.len(), |next| next.start as usize);
        this.start as usize..end
    }
}

/// What stands between separators, which are one byte each. Cells are a few bytes long: looked at byte by byte they are cut sooner than
/// by a search that gathers speed.
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
