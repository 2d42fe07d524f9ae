//! A CSV file as rows under headers, each row with the line it starts on.

use std::collections::HashMap;

use csv::{ReaderBuilder, StringRecord};

use super::cell::{Cell, keep};
use super::nearest::suggestion;
use crate::finding::{Finding, Place};

/// The rows of a data file.
#[derive(Debug)]
pub(super) struct DataTable {
    file: String,
    header_row: u64,
    headers: Vec<String>,
    rows: Vec<Row>,
}

#[derive(Debug)]
struct Row {
    line: u64,
    cells: StringRecord,
}

/// A column of a [`DataTable`], by its position.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column<'t> {
    table: &'t DataTable,
    index: usize,
    name: &'t str,
}

impl DataTable {
    /// Reads the text of a CSV file whose headers are on line `header_row`, counted from 1; the lines above are titles.
    ///
    /// # Errors
    /// Every ragged row, duplicate header and unclosed quote; a file with no headers or no rows.
    pub(super) fn read(file: &str, text: &str, header_row: u64) -> Result<Self, Vec<Finding>> {
        let fault = |code, row, text: String| Finding::error(code, Place::file(file).row(row), text);
        let start = start_of_line(text, header_row);
        let Some(body) = start.and_then(|start| text.get(start..)).filter(|body| !body.trim().is_empty()) else {
            return Err(vec![if text.trim().is_empty() {
                Finding::error("empty-file", Place::file(file), "the file is empty")
            } else {
                fault("empty-file", header_row, format!("there is nothing on row {header_row} or below"))
            }]);
        };
        let mut reader = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(body.as_bytes());
        let mut lines = LineCounter { body, offset: 0, line: header_row };
        let mut findings = Vec::new();
        let mut headers: Option<Vec<String>> = None;
        let mut rows = Vec::new();
        let mut record = StringRecord::new();
        loop {
            match reader.read_record(&mut record) {
                Ok(true) => {}
                Ok(false) => break,
                Err(error) => {
                    findings.push(fault("not-csv", lines.line, format!("the row can't be read: {error}")));
                    break;
                }
            }
            let line = lines.at(byte_of(&record));
            if let Some(finding) = unclosed_quote(file, body, byte_of(&record), reader.position().byte(), line) {
                findings.push(finding);
                break;
            }
            if record.iter().all(|cell| cell.trim().is_empty()) {
                continue;
            }
            let Some(headers) = &headers else {
                let names: Vec<String> = record.iter().map(|name| name.trim().to_owned()).collect();
                findings.extend(header_faults(file, line, &names));
                headers = Some(names);
                continue;
            };
            if record.len() != headers.len() {
                let text = format!("the row has {} cells, the header has {}", record.len(), headers.len());
                findings.push(
                    fault("ragged-row", line, text)
                        .remedy("one cell a column; a cell that holds a comma needs quotes around it"),
                );
            }
            rows.push(Row { line, cells: record.clone() });
        }
        if rows.is_empty() && findings.is_empty() {
            findings.push(fault("no-rows", header_row, "there are headers but no rows below them".to_owned()));
        }
        if findings.is_empty() {
            Ok(Self { file: file.to_owned(), header_row, headers: headers.unwrap_or_default(), rows })
        } else {
            Err(findings)
        }
    }

    /// The file's name in findings.
    pub(super) fn file(&self) -> &str {
        &self.file
    }

    /// Line of the headers.
    pub(super) fn header_row(&self) -> u64 {
        self.header_row
    }

    /// Number of rows.
    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// The line each row starts on.
    pub(super) fn lines(&self) -> impl Iterator<Item = u64> + '_ {
        self.rows.iter().map(|row| row.line)
    }

    /// The column under the header `name`.
    pub(super) fn column(&self, name: &str) -> Option<Column<'_>> {
        let index = self.headers.iter().position(|header| header == name)?;
        Some(Column { table: self, index, name: self.headers.get(index)? })
    }

    /// What a user can do about a header that is not there.
    pub(super) fn suggestion(&self, name: &str) -> String {
        let headers = self.headers.iter().map(String::as_str).filter(|header| !header.is_empty());
        suggestion(name, &format!("the columns of {} are", self.file), headers)
    }
}

impl<'t> Column<'t> {
    /// The header.
    pub(super) fn name(&self) -> &'t str {
        self.name
    }

    /// The cells, row by row.
    pub(super) fn cells(self) -> impl Iterator<Item = Cell<'t>> {
        self.table.rows.iter().map(move |row| self.of(row))
    }

    /// The cell in one row, counted from 0.
    pub(super) fn cell(self, row: usize) -> Option<Cell<'t>> {
        self.table.rows.get(row).map(|row| self.of(row))
    }

    fn of(self, row: &'t Row) -> Cell<'t> {
        let text = row.cells.get(self.index).unwrap_or_default().trim();
        Cell { file: &self.table.file, row: row.line, column: self.name, text }
    }

    /// What `read` makes of every cell, or `None` if it refuses any; each refusal goes to `findings`.
    pub(super) fn values<T>(
        self,
        findings: &mut Vec<Finding>,
        read: impl Fn(Cell<'t>) -> Result<T, Finding>,
    ) -> Option<Vec<T>> {
        let values: Vec<Option<T>> = self.cells().map(|cell| keep(read(cell), findings)).collect();
        values.into_iter().collect()
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

fn byte_of(record: &StringRecord) -> u64 {
    record.position().map_or(0, csv::Position::byte)
}

/// Counts lines up to byte positions that only grow. The reader's own line is that of the blank lines above a record.
struct LineCounter<'t> {
    body: &'t str,
    offset: usize,
    line: u64,
}

impl LineCounter<'_> {
    fn at(&mut self, byte: u64) -> u64 {
        let bytes = self.body.as_bytes();
        let mut target = usize::try_from(byte).unwrap_or(usize::MAX).min(bytes.len());
        while bytes.get(target).is_some_and(|byte| matches!(byte, b'\n' | b'\r')) {
            target += 1;
        }
        let passed = bytes.get(self.offset..target).unwrap_or_default();
        self.line += passed.iter().filter(|byte| **byte == b'\n').count() as u64;
        self.offset = target;
        self.line
    }
}

/// A quote that swallows the lines below it, which the reader takes for one long cell.
fn unclosed_quote(file: &str, body: &str, start: u64, end: u64, line: u64) -> Option<Finding> {
    let (start, end) = (usize::try_from(start).ok()?, usize::try_from(end).ok()?);
    if end < body.len() {
        return None;
    }
    let raw = body.get(start..)?.trim();
    let odd = raw.bytes().filter(|byte| *byte == b'"').count() % 2 == 1;
    let opens_a_cell = raw.starts_with('"') || raw.contains(",\"");
    (odd && opens_a_cell).then(|| {
        Finding::error("unclosed-quote", Place::file(file).row(line), "a quote is opened on this row and never closed")
            .remedy("close the quote, or write \"\" for a quote inside a quoted cell")
    })
}

fn header_faults(file: &str, line: u64, names: &[String]) -> Vec<Finding> {
    let place = |name: &str| Place::file(file).row(line).column(name);
    if let [only] = names
        && let Some(other) = [';', '\t'].into_iter().find(|other| only.contains(*other))
    {
        let text = format!("the header is one cell that holds {other:?}: the file is not separated by commas");
        return vec![Finding::error("not-csv", place(only), text).remedy("save the file as comma-separated values")];
    }
    let mut seen: HashMap<&str, usize> = HashMap::new();
    let mut findings = Vec::new();
    for (position, name) in names.iter().enumerate().filter(|(_, name)| !name.is_empty()) {
        if let Some(first) = seen.insert(name, position) {
            let text = format!("{name:?} heads columns {} and {}", first + 1, position + 1);
            let finding = Finding::error("duplicate-header", place(name).value(name), text);
            findings.push(finding.remedy("give every column its own header"));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<DataTable, Vec<Finding>> {
        DataTable::read("plots.csv", text, 1)
    }

    fn faults(text: &str) -> Vec<(&'static str, Option<u64>)> {
        read(text).unwrap_err().into_iter().map(|finding| (finding.code, finding.place.row)).collect()
    }

    #[test]
    fn rows_keep_the_line_they_start_on_past_quoted_newlines_and_blank_lines() {
        let table = read("plot,note\r\n101,\"two\r\nlines\"\r\n\r\n\r\n102,x\r\n,\r\n103,y").unwrap();
        assert_eq!(table.lines().collect::<Vec<_>>(), [2, 6, 8]);
    }

    #[test]
    fn headers_may_stand_below_title_lines() {
        let table = DataTable::read("plots.csv", "Larkwater, 2024\n\nplot,yield\n101, 72.5 \n", 3).unwrap();
        assert_eq!(table.lines().collect::<Vec<_>>(), [4]);
        assert_eq!(table.column("yield").and_then(|column| column.cell(0)).map(|cell| cell.text), Some("72.5"));
    }

    #[test]
    fn every_ragged_row_is_named() {
        assert_eq!(faults("a,b\n1,2\n1\n1,2,3\n"), [("ragged-row", Some(3)), ("ragged-row", Some(4))]);
    }

    #[test]
    fn a_header_twice_is_refused_but_blank_headers_are_only_nameless() {
        assert_eq!(faults("a,b,a\n1,2,3\n"), [("duplicate-header", Some(1))]);
        assert!(read("a,,\n1,,\n").is_ok());
    }

    #[test]
    fn a_file_without_rows_is_refused() {
        assert_eq!(faults(""), [("empty-file", None)]);
        assert_eq!(faults("\n \n"), [("empty-file", None)]);
        assert_eq!(faults("a,b\n"), [("no-rows", Some(1))]);
        assert_eq!(faults("a,b\n,\n"), [("no-rows", Some(1))]);
        let below = DataTable::read("plots.csv", "a,b\n1,2\n", 9).unwrap_err();
        assert_eq!((below[0].code, below[0].place.row), ("empty-file", Some(9)));
    }

    #[test]
    fn a_quote_that_swallows_the_rest_of_the_file_is_named() {
        assert_eq!(faults("a,b\n1,2\n3,\"x\n5,6\n7,8\n"), [("unclosed-quote", Some(3))]);
        assert!(read("a,b\n1,5\" pipe\n").is_ok(), "a quote inside a cell is a letter");
    }

    #[test]
    fn another_separator_is_named() {
        assert_eq!(faults("a;b\n1;2\n"), [("not-csv", Some(1))]);
    }
}
