//! One table in any form a file can give it is one trial.

use std::collections::BTreeMap;

use jiff::civil::date;
use polars::prelude::{Column, DataFrame};
use polars_io::parquet::write::ParquetWriter;
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;
use rust_xlsxwriter::{ExcelDateTime, Format as CellFormat, Workbook};

use super::{PROGRAMME, load};
use crate::finding::Finding;
use crate::trial::Trial;

const HEADERS: [&str; 6] = ["plot", "rep", "n lb/ac", "ndvi", "yield", "sown"];

#[derive(Clone, Debug)]
struct Row {
    plot: u32,
    block: u32,
    rate: f64,
    ndvi: Option<f64>,
    yields: Option<f64>,
}

fn rows() -> impl Strategy<Value = Vec<Row>> {
    let tenths = |most: u32| (0..most).prop_map(|tenths| f64::from(tenths) / 10.0);
    let row = (1_u32..4, tenths(3000), prop::option::of(tenths(10)), prop::option::of(tenths(1200)));
    prop::collection::vec(row, 2..12).prop_map(|rows| {
        let row = |(plot, (block, rate, ndvi, yields))| Row { plot, block, rate, ndvi, yields };
        let mut rows: Vec<Row> = (101..).zip(rows).map(row).collect();
        // A trial has a yield and a reading somewhere.
        rows[0].yields = Some(50.0);
        rows[0].ndvi = Some(0.5);
        rows
    })
}

/// How a text file is written.
#[derive(Clone, Debug)]
struct Text {
    separator: &'static str,
    decimal: &'static str,
    line_end: &'static str,
    missing: &'static str,
    quoted: bool,
    encoding: Encoding,
    title: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Encoding {
    Utf8,
    Utf8Marked,
    Utf16Little,
    Utf16Big,
}

fn text() -> impl Strategy<Value = Text> {
    let separators =
        prop::sample::select(vec![(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ".")]);
    let encodings = vec![Encoding::Utf8, Encoding::Utf8Marked, Encoding::Utf16Little, Encoding::Utf16Big];
    (
        separators,
        prop::sample::select(vec!["\n", "\r\n", "\r"]),
        prop::sample::select(vec!["", "NA", "N/A", ".", "*", "-"]),
        any::<bool>(),
        prop::sample::select(encodings),
        any::<bool>(),
    )
        .prop_map(|((separator, decimal), line_end, missing, quoted, encoding, title)| Text {
            separator,
            decimal,
            line_end,
            missing,
            quoted,
            encoding,
            title,
        })
}

fn cells(row: &Row, missing: &str) -> [String; 6] {
    let number = |value: Option<f64>| value.map_or_else(|| missing.to_owned(), |value| value.to_string());
    [
        row.plot.to_string(),
        row.block.to_string(),
        row.rate.to_string(),
        number(row.ndvi),
        number(row.yields),
        "2023-10-12".to_owned(),
    ]
}

impl Text {
    fn bytes(&self, rows: &[Row], columns: &[usize]) -> Vec<u8> {
        let line = |cells: &[String]| {
            let cell = |column: &usize| {
                let cell = cells[*column].clone();
                if self.quoted { format!("\"{cell}\"") } else { cell }
            };
            columns.iter().map(cell).collect::<Vec<_>>().join(self.separator) + self.line_end
        };
        let mut text = if self.title { format!("Larkwater{0}{0}", self.line_end) } else { String::new() };
        text += &line(&HEADERS.map(str::to_owned));
        for row in rows {
            text += &line(&cells(row, self.missing).map(|cell| match cell.parse::<f64>() {
                Ok(_) => cell.replace('.', self.decimal),
                Err(_) => cell,
            }));
        }
        match self.encoding {
            Encoding::Utf8 => text.into_bytes(),
            Encoding::Utf8Marked => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
            Encoding::Utf16Little => {
                b"\xff\xfe".iter().copied().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
            }
            Encoding::Utf16Big => {
                b"\xfe\xff".iter().copied().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect()
            }
        }
    }

    fn layout(&self) -> String {
        // Few rows may leave a separator uncertain, so it is declared.
        let separator = if self.separator == "\t" { "tab" } else { self.separator };
        let header_row = if self.title { 3 } else { 1 };
        format!("separator = \"{separator}\"\ndecimal = \"{}\"\nheader_row = {header_row}\n", self.decimal)
    }
}

fn workbook(rows: &[Row], columns: &[usize]) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    let day = CellFormat::new().set_num_format("dd/mm/yyyy");
    for (at, column) in (0_u16..).zip(columns) {
        sheet.write(0, at, HEADERS[*column]).unwrap();
        for (line, row) in (1_u32..).zip(rows) {
            let number = [Some(f64::from(row.plot)), Some(f64::from(row.block)), Some(row.rate), row.ndvi, row.yields];
            match number.get(*column) {
                Some(Some(value)) => sheet.write(line, at, *value).map(|_| ()).unwrap(),
                Some(None) => {}
                None => {
                    let sown = ExcelDateTime::from_ymd(2023, 10, 12).unwrap();
                    sheet.write_with_format(line, at, sown, &day).map(|_| ()).unwrap();
                }
            }
        }
    }
    workbook.save_to_buffer().unwrap()
}

fn parquet(rows: &[Row], columns: &[usize]) -> Vec<u8> {
    let column = |column: &usize| {
        let name = HEADERS[*column].into();
        match column {
            0 => Column::new(name, rows.iter().map(|row| row.plot.to_string()).collect::<Vec<_>>()),
            1 => Column::new(name, rows.iter().map(|row| i64::from(row.block)).collect::<Vec<_>>()),
            2 => Column::new(name, rows.iter().map(|row| row.rate).collect::<Vec<_>>()),
            3 => Column::new(name, rows.iter().map(|row| row.ndvi).collect::<Vec<_>>()),
            4 => Column::new(name, rows.iter().map(|row| row.yields).collect::<Vec<_>>()),
            _ => Column::new(name, vec!["2023-10-12"; rows.len()]),
        }
    };
    let mut frame = DataFrame::new(rows.len(), columns.iter().map(column).collect()).unwrap();
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes).finish(&mut frame).unwrap();
    bytes
}

fn trial(file: &str, bytes: Vec<u8>, layout: &str) -> Result<Trial, Vec<Finding>> {
    let descriptor = format!(
        r#"format = 1
site = "Upper Terrace"
harvest_year = 2024
design = "randomised-complete-block"
need_from = "difference-from-optimum"
[plots]
file = "{file}"
{layout}plot = "plot"
block = "rep"
[[application]]
name = "green-up"
n = {{ column = "n lb/ac", unit = "lb/ac" }}
date = 2024-02-20
timing = "before-sensing"
[[readings]]
instrument = "canopy-ndvi"
columns = [{{ column = "ndvi", date = 2024-04-02, stage = "Feekes 5" }}]
[harvest]
yield = "yield"
"#
    );
    let programme = PROGRAMME.replace("leave_out = { \"hailed-2023\" = \"hail, 3 June\" }\n", "");
    let path = format!("upper-2024/{file}");
    let files: BTreeMap<&str, Vec<u8>> = [
        ("programme.toml", programme.into_bytes()),
        ("upper-2024/trial.toml", descriptor.into_bytes()),
        (path.as_str(), bytes),
    ]
    .into_iter()
    .collect();
    load(&files).map(|loaded| in_no_place(loaded.value.trials.into_iter().next().unwrap()))
}

/// The trial without the places it was read from, its plots in order of their keys.
fn in_no_place(mut trial: Trial) -> Trial {
    trial.plots_file = String::new();
    trial.reading_files = Vec::new();
    let mut order: Vec<usize> = (0..trial.plots.len()).collect();
    order.sort_by_key(|plot| trial.plots[*plot].id.clone());
    for reading in &mut trial.readings {
        reading.plot = order.iter().position(|plot| *plot == reading.plot).unwrap();
        reading.row = 0;
    }
    trial.readings.sort_by_key(|reading| reading.plot);
    trial.plots.sort_by_key(|plot| plot.id.clone());
    for plot in &mut trial.plots {
        plot.row = 0;
    }
    trial
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 64,
        failure_persistence: Some(Box::new(FileFailurePersistence::Off)),
        ..ProptestConfig::default()
    })]

    #[test]
    fn order_line_ends_separator_encoding_and_format_change_nothing(
        (rows, shuffled) in rows().prop_flat_map(|rows| (Just(rows.clone()), Just(rows).prop_shuffle())),
        columns in Just((0..HEADERS.len()).collect::<Vec<_>>()).prop_shuffle(),
        text in text(),
    ) {
        let in_order: Vec<usize> = (0..HEADERS.len()).collect();
        let plain = Text {
            separator: ",", decimal: ".", line_end: "\n", missing: "", quoted: false, encoding: Encoding::Utf8, title: false,
        };
        let expected = trial("plots.csv", plain.bytes(&rows, &in_order), "").unwrap();
        prop_assert_eq!(expected.plots.len(), rows.len());
        prop_assert_eq!(&trial("plots.csv", text.bytes(&shuffled, &columns), &text.layout()).unwrap(), &expected);
        prop_assert_eq!(&trial("plots.xlsx", workbook(&shuffled, &columns), "").unwrap(), &expected);
        prop_assert_eq!(&trial("plots.parquet", parquet(&shuffled, &columns), "").unwrap(), &expected);
    }
}

#[test]
fn a_date_is_one_date_as_text_as_a_date_cell_and_as_days_counted() {
    let read = |file: &str, bytes: Vec<u8>, layout: &str| {
        let section = format!(
            "[[readings]]\ninstrument = \"leaf-chlorophyll\"\nfile = \"{file}\"\n{layout}date = \"day\"\nvalue = \"value\"\n[harvest]"
        );
        let path = format!("upper-2024/{file}");
        let mut files: BTreeMap<&str, Vec<u8>> =
            super::valid().into_iter().map(|(path, text)| (path, text.into_bytes())).collect();
        files.insert("upper-2024/trial.toml", super::UPPER.replacen("[harvest]", &section, 1).into_bytes());
        files.insert(&path, bytes);
        let loaded = load(&files).map_err(|findings| findings[0].code)?;
        let trial = loaded.value.trials.into_iter().find(|trial| trial.folder == "upper-2024").unwrap();
        Ok(trial.readings.last().unwrap().date)
    };
    let expected: Result<_, &str> = Ok(date(2024, 4, 3));
    let text = |day: &str| format!("plot;day;value\n101;{day};41\n").into_bytes();
    assert_eq!(read("walk.csv", text("2024-04-03"), ""), expected);
    assert_eq!(read("walk.csv", text("03/04/2024"), "date_format = \"day/month/year\"\n"), expected);
    assert_eq!(read("walk.csv", text("03/04/2024"), ""), Err("not-a-date"));
    assert_eq!(read("walk.csv", text("45385"), "date_format = \"spreadsheet-serial\"\n"), expected);
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    for (column, header) in [(0, "plot"), (1, "day"), (2, "value")] {
        sheet.write(0, column, header).unwrap();
    }
    sheet.write(1, 0, 101).unwrap();
    let day = CellFormat::new().set_num_format("yyyy/mm/dd");
    sheet.write_with_format(1, 1, ExcelDateTime::from_ymd(2024, 4, 3).unwrap(), &day).unwrap();
    sheet.write(1, 2, 41).unwrap();
    assert_eq!(read("walk.xlsx", workbook.save_to_buffer().unwrap(), ""), expected);
}
