//! Long tables: one header, one record a row, an empty cell where there is nothing. Written as CSV here, as a workbook or Parquet by
//! [`crate::files::export`].

use crate::files::export::{Cell, Table};

/// A long table under construction; its name is given where it is used.
#[derive(Debug)]
pub(super) struct Long {
    table: Table,
}

impl Long {
    /// With its header.
    pub(super) fn new<'a>(header: impl IntoIterator<Item = &'a str>) -> Self {
        let columns = header.into_iter().map(str::to_owned).collect();
        Self { table: Table { columns, ..Table::default() } }
    }

    /// Adds a record, a cell a column.
    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = Cell>) {
        self.table.rows.push(cells.into_iter().collect());
    }

    /// The table.
    pub(super) fn finish(self) -> Table {
        self.table
    }
}

/// A number as a cell; missing where there is none or it is not finite.
pub(super) fn number(value: impl Into<Option<f64>>) -> Cell {
    Cell::number(value.into())
}

/// A text as a cell; missing where there is none or it is empty.
pub(super) fn text(value: Option<&str>) -> Cell {
    Cell::text(value)
}

/// A table as CSV.
pub(crate) fn csv(table: &Table) -> String {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    // Writing to memory does not fail.
    let _ = writer.write_record(&table.columns);
    for row in &table.rows {
        let _ = writer.write_record(row.iter().map(Cell::field));
    }
    // Nor does taking it out again, and every field was text.
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_back_and_what_is_missing_is_empty() {
        let mut long = Long::new(["trial", "rate"]);
        long.row(["a, b".into(), number(120.0)]);
        long.row(["say \"so\"".into(), number(f64::NAN)]);
        long.row([text(None), number(0.1 + 0.2)]);
        long.row([text(Some("")), number(-0.0)]);
        assert_eq!(csv(&long.finish()), "trial,rate\n\"a, b\",120\n\"say \"\"so\"\"\",\n,0.30000000000000004\n,0\n");
    }
}
