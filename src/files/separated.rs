//! Text files whose cells are separated by a sign: CSV, TSV, semicolons.

use csv::{ReaderBuilder, StringRecord};

use super::grid::Grid;
use super::layout::{Layout, Separator};
use crate::finding::{Finding, Place};

/// Separators are told apart by so many rows.
const ROWS_LOOKED_AT: usize = 1000;

/// The cells of a text. Every row has the number of the line that it starts on.
///
/// # Errors
/// A quote that is never closed.
pub(super) fn read(file: &str, text: String, separator: Separator) -> Result<Grid, Finding> {
    // Without quotes a separator separates and a line end ends a row: nothing is left to be understood.
    if memchr::memchr(b'"', text.as_bytes()).is_some() {
        quoted(file, &text, separator)
    } else {
        Ok(Grid::of_plain_text(text, separator.byte()))
    }
}

fn quoted(file: &str, text: &str, separator: Separator) -> Result<Grid, Finding> {
    let fault = |code, row, text: String| Finding::error(code, Place::file(file).row(row), text);
    let mut reader = reader(text, separator);
    let mut lines = LineCounter { text: text.as_bytes(), offset: 0, line: 1 };
    let mut grid = Grid::default();
    let mut record = StringRecord::new();
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => return Err(fault("not-csv", lines.line, format!("the row can't be read: {error}"))),
        }
        let start = record.position().map_or(0, csv::Position::byte);
        let line = lines.at(start);
        if is_unclosed(text, start, reader.position().byte(), separator) {
            let text = "a quote is opened on this row and never closed".to_owned();
            let remedy = "close the quote, or write \"\" for a quote inside a quoted cell";
            return Err(fault("unclosed-quote", line, text).remedy(remedy));
        }
        grid.start_row(line);
        for cell in &record {
            grid.push(cell);
        }
    }
    Ok(grid)
}

fn reader(text: &str, separator: Separator) -> csv::Reader<&[u8]> {
    ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator.byte())
        .buffer_capacity(1 << 16)
        .from_reader(text.as_bytes())
}

/// The separator that is declared, or the one that is certain from the rows at the headers and below: it alone splits them,
/// or it alone splits every one of them into the same number of cells.
///
/// # Errors
/// Several separators that may be meant.
pub(super) fn separator(file: &str, text: &str, layout: &Layout) -> Result<Separator, Finding> {
    if let Some(declared) = layout.separator {
        return Ok(declared);
    }
    let body = start_of_line(text, layout.header_row.max(1)).and_then(|start| text.get(start..)).unwrap_or_default();
    let looks = Separator::ALL.map(|separator| (separator, Look::at(body, separator)));
    let that = |fits: fn(&Look) -> bool| -> Vec<Separator> {
        looks.iter().filter(|(_, look)| fits(look)).map(|(separator, _)| *separator).collect()
    };
    let (splitting, even, heading) = (that(Look::splits), that(Look::is_even), that(|look| look.first > 1));
    match (splitting.as_slice(), even.as_slice(), heading.as_slice()) {
        ([only], ..) | (_, [only], _) | ([], _, [only]) => Ok(*only),
        ([], ..) => Ok(Separator::Comma),
        (several, ..) => {
            let names: Vec<&str> = several.iter().map(|separator| separator.plural()).collect();
            let text = format!("its cells may be separated by {}", names.join(" or by "));
            let declared: Vec<String> = several
                .iter()
                .map(|separator| layout.declaration("separator", &format!("{:?}", separator.name())))
                .collect();
            Err(Finding::error("separator", Place::file(file), text)
                .remedy(format!("declare {}", declared.join(" or "))))
        }
    }
}

/// How a separator splits the rows.
struct Look {
    /// Cells of the first row.
    first: usize,
    /// Cells of each row.
    widths: Vec<usize>,
}

impl Look {
    fn at(text: &str, separator: Separator) -> Self {
        let mut reader = reader(text, separator);
        let mut widths = Vec::new();
        let mut record = StringRecord::new();
        while widths.len() < ROWS_LOOKED_AT && reader.read_record(&mut record).unwrap_or(false) {
            if record.iter().any(|cell| !cell.trim().is_empty()) {
                widths.push(record.len());
            }
        }
        Self { first: widths.first().copied().unwrap_or(0), widths }
    }

    /// Whether at least half of the rows have the same number of cells, and more than one.
    fn splits(&self) -> bool {
        let mut sorted: Vec<usize> = self.widths.clone();
        sorted.sort_unstable();
        sorted
            .chunk_by(|a, b| a == b)
            .any(|same| same.first().is_some_and(|width| *width > 1) && 2 * same.len() >= sorted.len())
    }

    /// Whether every row has the same number of cells, and more than one.
    fn is_even(&self) -> bool {
        self.first > 1 && self.widths.iter().all(|width| *width == self.first)
    }
}

/// Byte at which line `line` (from 1) starts.
fn start_of_line(text: &str, line: u64) -> Option<usize> {
    let above = usize::try_from(line.checked_sub(1)?).ok()?;
    match above.checked_sub(1) {
        None => Some(0),
        Some(before) => text.match_indices('\n').nth(before).map(|(byte, _)| byte + 1),
    }
}

/// Counts lines up to byte positions that only grow. The reader's own line is that of the blank lines above a record.
struct LineCounter<'t> {
    text: &'t [u8],
    offset: usize,
    line: u64,
}

impl LineCounter<'_> {
    fn at(&mut self, byte: u64) -> u64 {
        let mut target = usize::try_from(byte).unwrap_or(usize::MAX).min(self.text.len());
        while self.text.get(target).is_some_and(|byte| matches!(byte, b'\n' | b'\r')) {
            target += 1;
        }
        let passed = self.text.get(self.offset..target).unwrap_or_default();
        self.line += passed.iter().filter(|byte| **byte == b'\n').count() as u64;
        self.offset = target;
        self.line
    }
}

/// Whether a quote swallows all the lines below it, which the reader takes for one long cell.
fn is_unclosed(text: &str, start: u64, end: u64, separator: Separator) -> bool {
    if end < text.len() as u64 {
        return false;
    }
    let raw = usize::try_from(start).ok().and_then(|start| text.get(start..)).unwrap_or_default().trim();
    let odd = raw.bytes().filter(|byte| *byte == b'"').count() % 2 == 1;
    odd && (raw.starts_with('"') || raw.as_bytes().windows(2).any(|pair| pair == [separator.byte(), b'"']))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<(u64, Vec<String>)> {
        let grid = read("plots.csv", text.to_owned(), Separator::Comma).unwrap();
        (0..grid.len()).map(|row| (grid.number(row).unwrap(), grid.row(row).map(str::to_owned).collect())).collect()
    }

    fn seen(text: &str, header_row: u64) -> Result<Separator, String> {
        let layout = Layout { header_row, ..Layout::default() };
        separator("plots.csv", text, &layout).map_err(|finding| finding.remedy.unwrap())
    }

    #[test]
    fn rows_keep_the_line_they_start_on_past_quoted_newlines_and_blank_lines() {
        let rows = rows("plot,note\r\n101,\"two\r\nlines\"\r\n\r\n\r\n102,x\r\n,\r\n103,y");
        let numbers: Vec<u64> = rows.iter().map(|(number, _)| *number).collect();
        assert_eq!(numbers, [1, 2, 6, 7, 8]);
        assert_eq!(rows[1].1, ["101", "two\r\nlines"]);
    }

    #[test]
    fn a_text_without_quotes_is_cut_as_the_reader_of_quotes_cuts_it() {
        for text in ["a,b\n1,2\n", "a,b\r\n\r\n1,2", "\n\na\r1,2\r\r3\n", ",\n,,", "a", "", "\n", "a,b\n1,é\n , "] {
            let grid = quoted("plots.csv", text, Separator::Comma).unwrap();
            let cells = |row| grid.row(row).map(str::to_owned).collect();
            let read: Vec<_> = (0..grid.len()).map(|row| (grid.number(row).unwrap(), cells(row))).collect();
            assert_eq!(rows(text), read, "{text:?}");
        }
    }

    #[test]
    fn a_quote_that_swallows_the_rest_of_the_file_is_named() {
        let finding = read("plots.csv", "a,b\n1,2\n3,\"x\n5,6\n7,8\n".to_owned(), Separator::Comma).unwrap_err();
        assert_eq!((finding.code, finding.place.row), ("unclosed-quote", Some(3)));
        assert_eq!(rows("a,b\n1,5\" pipe\n")[1].1, ["1", "5\" pipe"], "a quote inside a cell is a letter");
    }

    #[test]
    fn a_separator_is_seen_where_it_is_certain() {
        for (text, expected) in [
            ("a,b\n1,2\n", Separator::Comma),
            ("a;b\n1,5;2,5\n", Separator::Semicolon),
            ("a\tb\n1\t2\n", Separator::Tab),
            ("a|b\n1|2\n", Separator::Bar),
            ("a,b\n1,2\n1\n1,2,3\n1,2\n", Separator::Comma),
            ("plot;note, by hand\n1;wet\n2;dry\n", Separator::Semicolon),
            ("yield\n41\n", Separator::Comma),
            ("a,b\n1\n2\n3\n", Separator::Comma),
        ] {
            assert_eq!(seen(text, 1), Ok(expected), "{text:?}");
        }
        assert_eq!(seen("Larkwater, 2024\n\na;b\n1;2\n", 3), Ok(Separator::Semicolon));
    }

    #[test]
    fn separators_that_split_rows_alike_are_named() {
        assert_eq!(seen("a,x;b\n1,5;2\n", 1), Err("declare separator = \",\" or separator = \";\"".to_owned()));
    }
}
