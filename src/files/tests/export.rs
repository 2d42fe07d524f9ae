//! What is written as a workbook or Parquet reads back, cell by cell, to the last bit.

use std::io::Cursor;

use calamine::{Data, Reader as _, Xlsx};
use polars_io::SerReader as _;
use polars_io::parquet::read::ParquetReader;
use proptest::prelude::*;

use crate::files::export::{Cell, Table, parquet, xlsx};

fn table(name: &str, columns: &[&str], rows: Vec<Vec<Cell>>) -> Table {
    Table { name: name.to_owned(), columns: columns.iter().map(|column| (*column).to_owned()).collect(), rows }
}

/// The cells of a sheet as calamine reads them, its header apart.
fn read_sheet(bytes: &[u8], name: &str) -> (Vec<String>, Vec<Vec<Cell>>) {
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).expect("a workbook");
    let range = workbook.worksheet_range(name).expect("the sheet");
    let mut rows = range.rows().map(|row| row.iter().map(read_cell).collect::<Vec<Cell>>());
    let header = rows.next().unwrap_or_default().iter().map(Cell::field).collect();
    (header, rows.collect())
}

fn read_cell(cell: &Data) -> Cell {
    match cell {
        Data::Float(number) => Cell::Number(Some(*number)),
        Data::String(text) => Cell::Text(Some(text.clone())),
        Data::Empty => Cell::Text(None),
        other => panic!("neither number nor text: {other:?}"),
    }
}

/// Cells of a sheet do not say what kind a missing one is of.
fn without_kind(rows: &[Vec<Cell>]) -> Vec<Vec<Cell>> {
    let plain = |cell: &Cell| if *cell == Cell::Number(None) { Cell::Text(None) } else { cell.clone() };
    rows.iter().map(|row| row.iter().map(plain).collect()).collect()
}

/// The columns of a Parquet file: a number column as numbers, a text column as text.
fn read_parquet(bytes: &[u8]) -> Vec<(String, Vec<Cell>)> {
    let frame = ParquetReader::new(Cursor::new(bytes)).finish().expect("Parquet");
    let read = |column: &polars::prelude::Column| {
        let cells = match (column.f64(), column.str()) {
            (Ok(numbers), _) => numbers.iter().map(Cell::Number).collect(),
            (_, Ok(texts)) => texts.iter().map(|text| Cell::Text(text.map(str::to_owned))).collect(),
            _ => panic!("neither number nor text: {}", column.dtype()),
        };
        (column.name().to_string(), cells)
    };
    frame.columns().iter().map(read).collect()
}

fn harvest() -> Table {
    let row =
        |plot: &str, rate: Option<f64>, note: Option<&str>| vec![plot.into(), Cell::number(rate), Cell::text(note)];
    table(
        "yields",
        &["plot", "rate", "note"],
        vec![
            row("101", Some(0.1 + 0.2), Some("=1+1")),
            row("102", Some(1e-300), Some("+44, @home")),
            row("103", None, Some("-")),
            row("104", Some(-0.0), None),
            row("<&\"'>", Some(f64::MAX), Some(" kept \n spaces ")),
        ],
    )
}

#[test]
fn a_workbook_reads_back_to_the_last_bit() {
    let written = harvest();
    let (header, rows) = read_sheet(&xlsx("Harvest", std::slice::from_ref(&written)).unwrap(), "yields");
    assert_eq!(header, written.columns);
    assert_eq!(rows, without_kind(&written.rows));
}

#[test]
fn text_that_looks_like_a_formula_stays_text() {
    for text in ["=1+1", "+1", "-1", "@sum", "=HYPERLINK(\"x\")", "{=1}"] {
        let bytes = xlsx("", &[table("sheet", &["text"], vec![vec![text.into()]])]).unwrap();
        let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(&bytes)).unwrap();
        assert!(workbook.worksheet_formula("sheet").unwrap().is_empty(), "{text}");
        assert_eq!(read_sheet(&bytes, "sheet").1, [[Cell::from(text)]]);
    }
}

#[test]
fn parquet_reads_back_to_the_last_bit_with_its_types() {
    let written = harvest();
    let read = read_parquet(&parquet(&written).unwrap());
    let names: Vec<&str> = read.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["plot", "rate", "note"]);
    for (position, (_, cells)) in read.iter().enumerate() {
        let expected: Vec<Cell> = written.rows.iter().map(|row| row[position].clone()).collect();
        assert_eq!(*cells, expected);
    }
}

#[test]
fn a_column_of_numbers_stays_one_where_all_are_missing_and_becomes_text_beside_words() {
    let rows = vec![
        vec![Cell::number(None), Cell::number(Some(1.5)), Cell::text(None)],
        vec![Cell::number(None), "rich".into(), Cell::number(Some(2.0))],
    ];
    let read = read_parquet(&parquet(&table("", &["p", "level", "early"], rows)).unwrap());
    assert_eq!(read[0].1, [Cell::Number(None), Cell::Number(None)]);
    assert_eq!(read[1].1, [Cell::from("1.5"), Cell::from("rich")]);
    assert_eq!(read[2].1, [Cell::Number(None), Cell::Number(Some(2.0))]);
}

#[test]
fn a_header_that_stands_twice_is_told_apart() {
    let rows = vec![vec!["a".into(), "b".into(), "c".into()]];
    let read = read_parquet(&parquet(&table("", &["status", "status_2", "status"], rows)).unwrap());
    let names: Vec<&str> = read.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["status", "status_2", "status_3"]);
}

#[test]
fn a_table_without_rows_keeps_its_header() {
    let empty = table("none", &["trial", "rate"], Vec::new());
    assert_eq!(read_sheet(&xlsx("", std::slice::from_ref(&empty)).unwrap(), "none").0, empty.columns);
    assert_eq!(read_parquet(&parquet(&empty).unwrap()).len(), 2);
    assert_eq!(read_parquet(&parquet(&Table::default()).unwrap()).len(), 0);
}

#[test]
fn every_sheet_has_a_legal_name_of_its_own() {
    let names = [
        "leaf-jointing",
        "Leaf-Jointing",
        "a/b:c*?[d]\\e",
        "",
        "'quoted'",
        "History",
        "a name that is longer than a sheet may be called",
        "a name that is longer than a sheet may be named",
        "Blühstadium – ährenschieben ✓ 2024",
    ];
    let tables: Vec<Table> = names.iter().map(|name| table(name, &["x"], Vec::new())).collect();
    let workbook: Xlsx<_> = Xlsx::new(Cursor::new(xlsx("", &tables).unwrap())).unwrap();
    assert_eq!(
        workbook.sheet_names(),
        [
            "leaf-jointing",
            "Leaf-Jointing (2)",
            "a-b-c---d--e",
            "table",
            "quoted",
            "history of",
            "a name that is longer than a s…",
            "a name that is longer than… (2)",
            "Blühstadium – ährenschieben ✓ …",
        ]
    );
}

#[test]
fn a_text_longer_than_a_cell_holds_ends_with_an_ellipsis() {
    let long = "😀".repeat(20_000);
    let bytes = xlsx(&long, &[table("sheet", &["text"], vec![vec![long.as_str().into()]])]).unwrap();
    let read = read_sheet(&bytes, "sheet").1[0][0].field();
    assert!(read.ends_with("😀…") && read.encode_utf16().count() <= 32_767, "{}", read.encode_utf16().count());
}

#[test]
fn a_table_larger_than_a_sheet_is_refused_with_its_size() {
    let rows = vec![Vec::new(); 1_048_576];
    let error = xlsx("", &[table("leaves", &["value"], rows)]).unwrap_err().to_string();
    assert!(error.starts_with("leaves has 1048577 rows and 1 columns; a sheet holds at most 1048576"), "{error}");
}

#[test]
fn the_same_table_gives_the_same_bytes() {
    let tables = [harvest(), harvest()];
    assert_eq!(xlsx("t", &tables).unwrap(), xlsx("t", &tables).unwrap());
    assert_eq!(parquet(&tables[0]).unwrap(), parquet(&tables[1]).unwrap());
}

fn cell() -> impl Strategy<Value = Cell> {
    prop_oneof![
        // Carriage returns are line feeds in XML, and calamine keeps Excel's code for what XML has no letter for.
        "[^\\p{Cc}\\p{Cn}\\p{Co}_]{0,12}".prop_map(|text| Cell::text(Some(&text))),
        any::<f64>().prop_map(|number| Cell::number(Some(number))),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_table_reads_back(rows in prop::collection::vec(prop::collection::vec(cell(), 3), 1..20)) {
        // A first column without gaps: trailing rows without a cell do not exist for a reader.
        let rows: Vec<Vec<Cell>> = rows.into_iter().map(|row| [Cell::from("x")].into_iter().chain(row).collect()).collect();
        let written = table("any", &["a", "b", "c", "d"], rows);
        let (_, read) = read_sheet(&xlsx("any", std::slice::from_ref(&written)).unwrap(), "any");
        prop_assert_eq!(read, without_kind(&written.rows));
        for (position, (_, cells)) in read_parquet(&parquet(&written).unwrap()).into_iter().enumerate() {
            for (cell, row) in cells.iter().zip(&written.rows) {
                prop_assert_eq!(cell.field(), row[position].field());
            }
        }
    }
}
