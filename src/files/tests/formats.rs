//! The kinds of data files, written here and read back.

use std::fs;
use std::path::PathBuf;

use polars::prelude::{Column, DataFrame};
use polars_io::parquet::write::ParquetWriter;
use rust_xlsxwriter::{ExcelDateTime, Format as CellFormat, Formula, Workbook};
use tempfile::TempDir;

use crate::files::{Format, Layout, Separator, Sheet, sheets};

/// A file in a folder of its own.
fn file(name: &str, bytes: &[u8]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    (folder, path)
}

fn read(name: &str, bytes: &[u8]) -> Vec<Sheet> {
    let (_folder, path) = file(name, bytes);
    sheets(&path, &Layout::default()).unwrap().0
}

fn rows(sheet: &Sheet) -> Vec<(u64, Vec<&str>)> {
    sheet.rows.iter().map(|(row, cells)| (*row, cells.iter().map(String::as_str).collect())).collect()
}

#[test]
fn a_text_file_is_one_sheet_of_its_rows_with_titles() {
    let read = read("plots.csv", b"Larkwater\n\nplot;yield\n101; 72,5\n102;70\n103;\n");
    assert_eq!(read[0].name, None);
    assert_eq!(read[0].format, Format::Text { separator: Separator::Semicolon, encoding: "UTF-8".to_owned() });
    let expected: [(u64, Vec<&str>); 5] = [
        (1, vec!["Larkwater"]),
        (3, vec!["plot", "yield"]),
        (4, vec!["101", "72,5"]),
        (5, vec!["102", "70"]),
        (6, vec!["103", ""]),
    ];
    assert_eq!(rows(&read[0]), expected);
}

#[test]
fn a_workbook_is_its_sheets_with_numbers_as_stored_and_dates_as_year_month_day() {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    sheet.set_name("2025").unwrap();
    let date = CellFormat::new().set_num_format("dd/mm/yyyy");
    let rounded = CellFormat::new().set_num_format("0");
    sheet.write(2, 1, "yield").unwrap();
    sheet.write(2, 3, "on").unwrap();
    sheet.write_with_format(3, 1, 0.1 + 0.2, &rounded).unwrap();
    sheet.write(3, 2, true).unwrap();
    sheet.write_with_format(3, 3, ExcelDateTime::from_ymd(2025, 4, 2).unwrap(), &date).unwrap();
    sheet.write_formula(4, 1, Formula::new("1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_formula(4, 2, Formula::new("B4*2").set_result("0.6")).unwrap();
    sheet.set_row_hidden(4).unwrap();
    workbook.add_worksheet().set_name("notes").unwrap();
    let read = read("plots.xlsx", &workbook.save_to_buffer().unwrap());
    assert_eq!(read.iter().map(|sheet| sheet.name.as_deref()).collect::<Vec<_>>(), [Some("2025"), Some("notes")]);
    let expected: [(u64, Vec<&str>); 3] = [
        (3, vec!["", "yield", "", "on"]),
        (4, vec!["", "0.30000000000000004", "TRUE", "2025-04-02"]),
        (5, vec!["", "#DIV/0!", "0.6"]),
    ];
    assert_eq!(rows(&read[0]), expected);
    assert!(read[1].rows.is_empty());
}

#[test]
fn a_parquet_file_is_its_records_below_its_names() {
    let columns = vec![
        Column::new("plot".into(), ["101", "102"]),
        Column::new("n".into(), [0_i64, 391]),
        Column::new("yield".into(), [Some(72.1), None]),
        Column::new("rich".into(), [false, true]),
    ];
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes).finish(&mut DataFrame::new(2, columns).unwrap()).unwrap();
    let read = read("plots.parquet", &bytes);
    let expected: [(u64, Vec<&str>); 3] = [
        (1, vec!["plot", "n", "yield", "rich"]),
        (2, vec!["101", "0", "72.1", "FALSE"]),
        (3, vec!["102", "391", "", "TRUE"]),
    ];
    assert_eq!((rows(&read[0]), &read[0].format), (expected.to_vec(), &Format::Parquet));
}

#[test]
fn a_file_that_is_not_what_its_name_says_gets_one_clear_error() {
    let workbook = {
        let mut workbook = Workbook::new();
        workbook.add_worksheet().write(0, 0, 1).unwrap();
        workbook.save_to_buffer().unwrap()
    };
    let cut = |bytes: &[u8]| bytes[..bytes.len() / 2].to_vec();
    for (name, bytes, code) in [
        ("plots.xlsx", b"plot,yield\n".to_vec(), "not-a-workbook"),
        ("plots.xlsx", cut(&workbook), "not-a-workbook"),
        ("plots.csv", workbook, "not-text"),
        ("plots.parquet", b"PAR1PAR1".to_vec(), "not-a-parquet-file"),
        ("plots.xls", b"\xd0\xcf\x11\xe0".to_vec(), "unknown-format"),
    ] {
        let (_folder, path) = file(name, &bytes);
        let codes: Vec<_> =
            sheets(&path, &Layout::default()).unwrap_err().into_iter().map(|finding| finding.code).collect();
        assert_eq!(codes, [code], "{name}");
    }
}

#[test]
fn a_merged_cell_counts_for_every_column_that_it_spans() {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    sheet.merge_range(0, 1, 0, 2, "NDVI", &CellFormat::new()).unwrap();
    sheet.write_row(1, 0, ["plot", "2 April", "16 April"]).unwrap();
    let read = read("plots.xlsx", &workbook.save_to_buffer().unwrap());
    assert_eq!(rows(&read[0]), [(1, vec!["", "NDVI", "NDVI"]), (2, vec!["plot", "2 April", "16 April"])]);
}
