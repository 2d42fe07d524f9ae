//! Sheets of XLSX workbooks.

use std::io::Cursor;

use calamine::{Data, DataRef, ExcelDateTime, Reader as _, SheetType, Xlsx};

use super::grid::{Grid, Merged};
use super::guard::guarded;

/// An open workbook.
pub(super) struct Workbook(Xlsx<Cursor<Vec<u8>>>);

impl Workbook {
    /// Opens a workbook; `None` where the bytes are none.
    pub(super) fn open(bytes: Vec<u8>) -> Option<Self> {
        guarded(|| Xlsx::new(Cursor::new(bytes)).ok()).flatten().map(Self)
    }

    /// The names of its sheets of cells, in their order; charts are not among them.
    pub(super) fn names(&self) -> Vec<String> {
        let sheets = self.0.sheets_metadata().iter();
        sheets.filter(|sheet| sheet.typ == SheetType::WorkSheet).map(|sheet| sheet.name.clone()).collect()
    }

    /// The cells of a sheet, hidden rows and columns included; rows without a cell are left out. A formula has the value that was
    /// stored with it.
    ///
    /// # Errors
    /// What the reader of workbooks says of a sheet that is damaged.
    pub(super) fn grid(&mut self, name: &str) -> Result<Grid, String> {
        guarded(|| self.cells(name)).unwrap_or_else(|| Err("its cells are damaged".to_owned()))
    }

    fn cells(&mut self, name: &str) -> Result<Grid, String> {
        let mut cells = Vec::new();
        let mut reader = self.0.worksheet_cells_reader(name).map_err(|error| error.to_string())?;
        while let Some(cell) = reader.next_cell().map_err(|error| error.to_string())? {
            if !matches!(cell.get_value(), DataRef::Empty) {
                cells.push((cell.get_position(), Data::from(cell.get_value().clone())));
            }
        }
        drop(reader);
        // Nearly always so already, but nothing in the format makes it so.
        cells.sort_by_key(|(position, _)| *position);
        let mut grid = Grid::default();
        for row in cells.chunk_by(|((a, _), _), ((b, _), _)| a == b) {
            let Some(((number, _), _)) = row.first() else { continue };
            grid.start_row(u64::from(*number) + 1);
            let mut next = 0;
            for ((_, column), value) in row {
                for _ in next..*column {
                    grid.push("");
                }
                next = column + 1;
                push(&mut grid, value);
            }
            if grid.is_too_large() {
                return Err("it holds too many cells".to_owned());
            }
        }
        let merged = self.0.merge_cells_by_sheet_name(name).unwrap_or_default();
        grid.merged = merged
            .iter()
            .map(|area| Merged {
                rows: (u64::from(area.start.0) + 1, u64::from(area.end.0) + 1),
                columns: (area.start.1 as usize, area.end.1 as usize),
            })
            .collect();
        Ok(grid)
    }
}

fn push(grid: &mut Grid, value: &Data) {
    match value {
        Data::Empty => grid.push(""),
        Data::String(text) | Data::DurationIso(text) => grid.push(text),
        Data::Int(number) => grid.push_typed(number),
        Data::Float(number) => grid.push_typed(number),
        Data::Bool(truth) => grid.push_typed(if *truth { "TRUE" } else { "FALSE" }),
        Data::DateTime(moment) => grid.push_typed(date_and_time(moment)),
        Data::DateTimeIso(text) => grid.push_typed(text),
        Data::Error(error) => grid.push_typed(error),
    }
}

/// A date as year-month-day, with the time behind it unless that is midnight; a time alone as hours, minutes and seconds.
fn date_and_time(moment: &ExcelDateTime) -> String {
    let (year, month, day, hour, minute, second, _) = moment.to_ymd_hms_milli();
    let time = format!("{hour:02}:{minute:02}:{second:02}");
    if moment.is_duration() || moment.as_f64() < 1.0 {
        time
    } else if moment.as_f64().fract() == 0.0 {
        format!("{year:04}-{month:02}-{day:02}")
    } else {
        format!("{year:04}-{month:02}-{day:02}T{time}")
    }
}
