//! The rows of a data file under its headers, each with its row number.

use rayon::iter::{IntoParallelIterator as _, IntoParallelRefIterator as _, ParallelIterator as _};

use super::cell::{Cell, keep};
use super::descriptor::Typed;
use super::grid::{Grid, Merged};
use super::layout::{Layout, Separator};
use super::nearest::suggestion;
use super::opened::{Format, Opened};
use crate::finding::{Finding, Place};

/// A header that is not in the header row is looked for in so many rows.
const ROWS_SEARCHED: usize = 100;

/// Where the rows come from, and how they are laid out.
#[derive(Debug)]
pub(super) struct Source {
    /// The file's name in findings.
    pub(super) file: String,
    /// The sheet, in a workbook.
    pub(super) sheet: Option<String>,
    pub(super) layout: Layout,
    pub(super) merged: Vec<Merged>,
}

/// The rows of a data file.
#[derive(Debug)]
pub(super) struct DataTable {
    source: Source,
    header_row: u64,
    headers: Vec<String>,
    grid: Grid,
    /// Positions in the grid of the rows below the headers that hold anything.
    rows: Vec<u32>,
}

/// A column of a [`DataTable`], by its position.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column<'t> {
    table: &'t DataTable,
    index: usize,
    name: &'t str,
}

impl Source {
    fn fault(&self, code: &'static str, row: Option<u64>, text: impl Into<String>) -> Finding {
        let place = Place { row, ..Place::file(&self.file).sheet(self.sheet.clone()) };
        Finding::error(code, place, text)
    }
}

impl DataTable {
    /// The rows of an opened file below its headers. Blank rows hold nothing, rows above the headers are titles.
    ///
    /// # Errors
    /// Every ragged row of a text file; a header row that looks like a title; a file with no headers or no rows.
    pub(super) fn new(file: &str, opened: Opened, layout: &Layout) -> Result<Self, Vec<Finding>> {
        let Opened { sheet, format, mut grid } = opened;
        let merged = std::mem::take(&mut grid.merged);
        let source = Source { file: file.to_owned(), sheet, layout: layout.clone(), merged };
        let from = layout.header_row.max(1);
        let filled = |row: &usize| !grid.is_blank(*row);
        let Some(top) = (0..grid.len()).find(|row| filled(row) && grid.number(*row) >= Some(from)) else {
            return Err(vec![if (0..grid.len()).any(|row| filled(&row)) {
                source.fault("empty-file", Some(from), format!("there is nothing on row {from} or below"))
            } else {
                source.fault("empty-file", None, "the file is empty")
            }]);
        };
        let header_row = grid.number(top).unwrap_or(from);
        let below = match layout.header_row {
            0 => top,
            _ => top + usize::try_from(layout.header_rows.max(1)).unwrap_or(usize::MAX).min(grid.len()),
        };
        let headers = match layout.header_row {
            0 => (1..=grid.width(top)).map(|number| format!("column {number}")).collect(),
            _ => headers(&grid, &source.merged, top..below),
        };
        let last = layout.last_row.unwrap_or(u64::MAX);
        let belongs = |row: &usize| filled(row) && grid.number(*row) <= Some(last);
        // The grid counts rows in four bytes.
        let rows: Vec<u32> = if grid.even_width().is_some() && layout.last_row.is_none() {
            (below as u32..grid.len() as u32).collect()
        } else {
            (below..grid.len()).into_par_iter().filter(belongs).map(|row| row as u32).collect()
        };
        if rows.is_empty() {
            return Err(vec![source.fault("no-rows", Some(header_row), "there are headers but no rows below them")]);
        }
        let table = Self { source, header_row, headers, grid, rows };
        let faults = match format {
            Format::Text { separator, .. } => table.faults_of_text(separator),
            Format::Workbook | Format::Parquet => Vec::new(),
        };
        if faults.is_empty() { Ok(table) } else { Err(faults) }
    }

    /// Another separator in a lone header; rows that have not one cell a column.
    fn faults_of_text(&self, separator: Separator) -> Vec<Finding> {
        if let [only] = self.headers.as_slice()
            && let Some(other) = Separator::ALL.into_iter().find(|other| only.contains(char::from(other.byte())))
        {
            let text = format!("the header is one cell that holds {}", other.plural());
            let declare = self.source.layout.declaration("separator", &format!("{:?}", other.name()));
            return vec![
                self.source.fault("separator", Some(self.header_row), text).remedy(format!("declare {declare}")),
            ];
        }
        let named = self.headers.iter().rposition(|header| !header.is_empty()).map_or(0, |last| last + 1);
        let all = self.headers.len();
        if self.grid.even_width() == Some(all) {
            return Vec::new();
        }
        let is_ragged = |row: usize| {
            let width = self.grid.width(row);
            width < named || (width > all && (all..width).any(|cell| self.grid.text(row, cell) != Some("")))
        };
        let ragged: Vec<usize> = self.rows.par_iter().map(|row| *row as usize).filter(|row| is_ragged(*row)).collect();
        let wider = ragged.iter().filter(|row| self.grid.width(**row) > all).count();
        if 2 * wider > self.rows.len()
            && let Some(title) = self.title(all)
        {
            return vec![title];
        }
        let fault = |row: &usize| {
            let text = format!("the row has {} cells, the header has {all}", self.grid.width(*row));
            let remedy = format!("one cell a column; a cell that holds {} needs quotes around it", separator.plural());
            self.source.fault("ragged-row", self.grid.number(*row), text).remedy(remedy)
        };
        ragged.iter().map(fault).collect()
    }

    /// The header row is narrower than most rows below it: it is a title, and the headers are the first row as wide as those.
    fn title(&self, width: usize) -> Option<Finding> {
        let mut widths: Vec<usize> = self.rows.iter().map(|row| self.grid.width(*row as usize)).collect();
        widths.sort_unstable();
        let usual = widths.chunk_by(|a, b| a == b).max_by_key(|same| same.len())?.first()?;
        let first = self.rows.iter().find(|row| self.grid.width(**row as usize) == *usual)?;
        let number = self.grid.number(*first as usize)?;
        let text = format!("the header has {width} cells and the rows below it have {usual}: it looks like a title");
        let declare = self.source.layout.declaration("header_row", &number.to_string());
        Some(self.source.fault("header-row", Some(self.header_row), text).remedy(format!("declare {declare}")))
    }

    /// The file's name in findings.
    pub(super) fn file(&self) -> &str {
        &self.source.file
    }

    /// The header row as a place.
    pub(super) fn header_place(&self) -> Place {
        self.place().row(self.header_row)
    }

    /// Number of rows.
    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// The file, or its sheet, as a place.
    pub(super) fn place(&self) -> Place {
        Place::file(&self.source.file).sheet(self.source.sheet.clone())
    }

    /// The number in the file of a row, counted from 0.
    pub(super) fn row_number(&self, row: usize) -> Option<u64> {
        self.rows.get(row).and_then(|row| self.grid.number(*row as usize))
    }

    /// The row that stands on a row of the file, counted from 0.
    pub(super) fn row_at(&self, number: u64) -> Option<usize> {
        let row = self.rows.partition_point(|row| self.grid.number(*row as usize) < Some(number));
        (self.row_number(row) == Some(number)).then_some(row)
    }

    /// A row at a time, cut into its cells once for all columns.
    pub(super) fn cut(&self) -> CutRow<'_> {
        CutRow { table: self, row: 0, number: 0, cells: Vec::new() }
    }

    /// The number of each row in the file.
    pub(super) fn lines(&self) -> impl Iterator<Item = u64> + '_ {
        self.rows.iter().map(|row| self.grid.number(*row as usize).unwrap_or_default())
    }

    /// The column under the header `name`; runs of spaces and line breaks count as one space.
    ///
    /// # Errors
    /// What is the matter and what would be right, where no header or several have that name.
    pub(super) fn column(&self, name: &str) -> Result<Column<'_>, NoColumn> {
        let wanted = spaced(name);
        let mut found = self.headers.iter().enumerate().filter(|(_, header)| **header == wanted);
        let Some((index, name)) = found.next() else {
            return Err(NoColumn {
                code: "missing-column",
                text: format!("has no column {name:?}"),
                remedy: self.suggestion(&wanted),
            });
        };
        if let Some((other, _)) = found.next() {
            let text = format!("has two columns {name:?}: number {} and number {}", index + 1, other + 1);
            let remedy = "give every column its own header".to_owned();
            return Err(NoColumn { code: "duplicate-header", text, remedy });
        }
        Ok(Column { table: self, index, name })
    }

    /// The fault of a header row that holds none of the columns that a descriptor names, where another row holds them all.
    pub(super) fn headers_elsewhere<'n>(&self, names: impl IntoIterator<Item = &'n Typed<String>>) -> Option<Finding> {
        let wanted: Vec<String> = names.into_iter().map(|name| spaced(&name.value)).collect();
        if wanted.is_empty() || wanted.iter().any(|name| self.headers.contains(name)) {
            return None;
        }
        let holds_all = |row: &usize| wanted.iter().all(|name| self.grid.row(*row).any(|cell| spaced(cell) == *name));
        let number = self.grid.number((0..self.grid.len().min(ROWS_SEARCHED)).find(holds_all)?)?;
        let text = format!("none of the columns that the trial names is in this row, but row {number} has them");
        let declare = self.source.layout.declaration("header_row", &number.to_string());
        Some(self.source.fault("header-row", Some(self.header_row), text).remedy(format!("declare {declare}")))
    }

    /// What a user can do about a header that is not there.
    fn suggestion(&self, name: &str) -> String {
        let elsewhere = (0..self.grid.len().min(ROWS_SEARCHED))
            .filter(|row| self.grid.number(*row) != Some(self.header_row))
            .find(|row| self.grid.row(*row).any(|cell| spaced(cell) == name));
        if let Some(row) = elsewhere.and_then(|row| self.grid.number(row)) {
            let declare = self.source.layout.declaration("header_row", &row.to_string());
            return format!("{name:?} stands on row {row}: if the headers are there, declare {declare}");
        }
        let headers = self.headers.iter().map(String::as_str).filter(|header| !header.is_empty());
        suggestion(name, &format!("the columns of {} are", self.source.file), headers)
    }
}

/// Why there is no column of a name.
pub(super) struct NoColumn {
    pub(super) code: &'static str,
    /// What the file has or lacks; the file itself stands before it.
    pub(super) text: String,
    pub(super) remedy: String,
}

/// A row of a [`DataTable`], cut into its cells.
pub(super) struct CutRow<'t> {
    table: &'t DataTable,
    /// Its position in the grid.
    row: usize,
    /// Its number in the file.
    pub(super) number: u64,
    cells: Vec<&'t str>,
}

impl<'t> CutRow<'t> {
    /// Goes to a row, counted from 0; one that is not there has no cells.
    pub(super) fn go_to(&mut self, row: usize) {
        let grid = &self.table.grid;
        self.row = self.table.rows.get(row).map_or(usize::MAX, |row| *row as usize);
        self.number = grid.number(self.row).unwrap_or_default();
        self.cells.clear();
        grid.row(self.row).for_each(|cell| self.cells.push(cell));
    }

    /// What stands in it under a header of its table.
    pub(super) fn text(&self, column: Column<'t>) -> &'t str {
        self.cells.get(column.index).copied().unwrap_or_default()
    }
}

impl<'t> Column<'t> {
    /// The header.
    pub(super) fn name(&self) -> &'t str {
        self.name
    }

    /// The cells, row by row.
    pub(super) fn cells(self) -> impl Iterator<Item = Cell<'t>> {
        self.table.rows.iter().map(move |row| self.of(*row as usize))
    }

    /// The cell in one row, counted from 0.
    pub(super) fn cell(self, row: usize) -> Option<Cell<'t>> {
        self.table.rows.get(row).map(|row| self.of(*row as usize))
    }

    fn of(self, row: usize) -> Cell<'t> {
        let grid = &self.table.grid;
        self.with(row, grid.number(row).unwrap_or_default(), grid.text(row, self.index).unwrap_or_default())
    }

    /// The cell in a row of the column's table.
    pub(super) fn within(self, row: &CutRow<'t>) -> Cell<'t> {
        self.with(row.row, row.number, row.text(self))
    }

    fn with(self, row: usize, number: u64, text: &'t str) -> Cell<'t> {
        let Self { table, index, name } = self;
        Cell { source: &table.source, row: number, column: name, index, text, typed: table.grid.is_typed(row, index) }
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

/// The headers in the given rows of a grid. Those of several rows are joined from the top by spaces; a merged cell counts for
/// every column that it spans, once for all its rows.
fn headers(grid: &Grid, merged: &[Merged], rows: std::ops::Range<usize>) -> Vec<String> {
    let width = rows.clone().map(|row| grid.width(row)).max().unwrap_or(0);
    let across = |row: u64| {
        merged.iter().filter(move |area| area.rows.0 <= row && row <= area.rows.1).map(|area| area.columns.1 + 1).max()
    };
    let numbers = || rows.clone().filter_map(|row| grid.number(row));
    let width = numbers().filter_map(across).max().unwrap_or(0).max(width);
    let header = |column: usize| {
        let mut parts: Vec<String> = Vec::new();
        for (row, number) in rows.clone().zip(numbers()) {
            let area = merged.iter().find(|area| {
                area.rows.0 <= number && number <= area.rows.1 && area.columns.0 <= column && column <= area.columns.1
            });
            let text = match area {
                // Told on the first of its rows that belongs to the headers.
                Some(area) if number > area.rows.0 && row > rows.start => "",
                Some(area) => {
                    let home = (0..grid.len()).find(|row| grid.number(*row) == Some(area.rows.0));
                    home.and_then(|home| grid.text(home, area.columns.0)).unwrap_or_default()
                }
                None => grid.text(row, column).unwrap_or_default(),
            };
            if !text.is_empty() {
                parts.push(spaced(text));
            }
        }
        parts.join(" ")
    };
    (0..width).map(header).collect()
}

/// A header with single spaces between its words.
fn spaced(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::super::opened::open;
    use super::*;

    fn table(text: &str, layout: &Layout) -> Result<DataTable, Vec<Finding>> {
        let opened = open("plots.csv", text.as_bytes().to_vec(), layout).map_err(|finding| vec![finding])?;
        DataTable::new("plots.csv", opened, layout)
    }

    fn below(header_row: u64) -> Layout {
        Layout { header_row, ..Layout::default() }
    }

    fn faults(text: &str) -> Vec<(&'static str, Option<u64>)> {
        table(text, &below(1)).unwrap_err().into_iter().map(|finding| (finding.code, finding.place.row)).collect()
    }

    fn cells<'t>(table: &'t DataTable, name: &str) -> Vec<&'t str> {
        table.column(name).map(|column| column.cells().map(|cell| cell.text).collect()).unwrap_or_default()
    }

    #[test]
    fn headers_may_stand_below_title_lines() {
        let table = table("Larkwater, 2024\n\nplot,yield\n101, 72.5 \n", &below(3)).unwrap();
        assert_eq!(table.lines().collect::<Vec<_>>(), [4]);
        assert_eq!(cells(&table, "yield"), ["72.5"]);
    }

    #[test]
    fn notes_below_the_last_row_are_not_read() {
        let layout = Layout { last_row: Some(3), ..Layout::default() };
        let table = table("plot,yield\n101,72.5\n102,70\n\nweighed by hand\n", &layout).unwrap();
        assert_eq!(cells(&table, "plot"), ["101", "102"]);
    }

    #[test]
    fn a_file_without_headers_has_numbered_columns() {
        let table = table("101\t72.5\n102\t70\n", &below(0)).unwrap();
        assert_eq!((cells(&table, "column 1"), cells(&table, "column 2")), (vec!["101", "102"], vec!["72.5", "70"]));
    }

    #[test]
    fn headers_of_two_rows_are_joined() {
        let layout = Layout { header_rows: 2, ..Layout::default() };
        let table = table("plot,NDVI,NDVI\n,2 April,1  May\n101,0.5,0.6\n", &layout).unwrap();
        assert_eq!((cells(&table, "NDVI 1 May"), cells(&table, "plot")), (vec!["0.6"], vec!["101"]));
    }

    #[test]
    fn every_ragged_row_is_named_and_blank_cells_at_its_end_are_nothing() {
        assert_eq!(
            faults("a,b\n1,2\n1\n1,2,3\n1,2,\n1,2,,\n1,2\n"),
            [("ragged-row", Some(3)), ("ragged-row", Some(4))]
        );
        assert!(table("a,b,,\n1,2\n1,2,,\n", &below(1)).is_ok());
    }

    #[test]
    fn a_title_in_the_place_of_headers_is_told_with_the_row_of_the_headers() {
        let finding = table("Larkwater\n\nplot,yield\n101,72.5\n102,70\n", &below(1)).unwrap_err().remove(0);
        assert_eq!((finding.code, finding.place.row), ("header-row", Some(1)));
        assert_eq!(finding.remedy.as_deref(), Some("declare header_row = 3"));
    }

    #[test]
    fn a_header_that_stands_on_another_row_is_found_there() {
        let table = table("Larkwater,2024\n\nplot,yield\n101,72.5\n", &below(1)).unwrap();
        let missing = table.column("yield").err().unwrap();
        assert_eq!(missing.remedy, "\"yield\" stands on row 3: if the headers are there, declare header_row = 3");
    }

    #[test]
    fn a_header_twice_is_refused_where_it_is_used() {
        let table = table("a,b,a,,\n1,2,3,,\n", &below(1)).unwrap();
        assert_eq!(table.column("a").err().map(|missing| missing.code), Some("duplicate-header"));
        assert_eq!(cells(&table, "b"), ["2"]);
    }

    #[test]
    fn a_file_without_rows_is_refused() {
        assert_eq!(faults(""), [("empty-file", None)]);
        assert_eq!(faults("\n \n"), [("empty-file", None)]);
        assert_eq!(faults("a,b\n"), [("no-rows", Some(1))]);
        assert_eq!(faults("a,b\n,\n"), [("no-rows", Some(1))]);
        let below = table("a,b\n1,2\n", &below(9)).unwrap_err();
        assert_eq!((below[0].code, below[0].place.row), ("empty-file", Some(9)));
    }

    #[test]
    fn a_separator_that_is_declared_wrongly_is_named() {
        let layout = Layout { separator: Some(Separator::Comma), ..Layout::default() };
        let finding = table("a;b\n1;2\n", &layout).unwrap_err().remove(0);
        assert_eq!((finding.code, finding.remedy.as_deref()), ("separator", Some("declare separator = \";\"")));
    }
}
