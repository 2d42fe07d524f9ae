//! The demo with one thing broken at a time: `check` finds it, in its place, and says nothing else that it did not say before.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::run::{programme_copy, stook_in};

/// Severity, code, file, row and column of a finding.
type Found = (String, String, String, Option<u64>, String);

/// One thing that is broken, and what must be found of it.
struct Broken {
    what: &'static str,
    file: &'static str,
    change: Change,
    code: &'static str,
    /// Where, if not in the file that was changed.
    found_in: Option<&'static str>,
    row: Row,
    column: &'static str,
}

/// The row of a data file or line of a descriptor where something is found.
enum Row {
    /// The file as a whole.
    None,
    /// Counted from 1 with the header.
    At(u64),
    /// The first line that holds this text.
    Of(&'static str),
}

impl Row {
    fn number(&self, file: &Path) -> Option<u64> {
        match self {
            Self::None => None,
            Self::At(row) => Some(*row),
            Self::Of(text) => {
                let lines = fs::read_to_string(file).unwrap();
                let at =
                    lines.lines().position(|line| line.contains(text)).unwrap_or_else(|| panic!("a line with {text}"));
                Some(at as u64 + 1)
            }
        }
    }
}

impl From<u64> for Row {
    fn from(row: u64) -> Self {
        Self::At(row)
    }
}

impl From<&'static str> for Row {
    fn from(text: &'static str) -> Self {
        Self::Of(text)
    }
}

enum Change {
    /// The cell on a row (counted from 1 with the header) and in a column becomes this text.
    Cell(u64, &'static str, &'static str),
    /// Every cell of a column becomes what this makes of it, row by row.
    Column(&'static str, fn(u64, &str) -> String),
    /// The first of these texts becomes the second.
    Text(&'static str, &'static str),
    /// The rows become others; the header is row 1.
    Rows(fn(Vec<String>) -> Vec<String>),
    /// The bytes become others.
    Bytes(fn(Vec<u8>) -> Vec<u8>),
    /// The file is gone.
    Gone,
    /// Something is done to the folder of the programme.
    Folder(fn(&Path)),
}

fn rows(text: &str) -> Vec<Vec<String>> {
    text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn joined(rows: &[Vec<String>]) -> String {
    rows.iter().map(|row| row.join(",") + "\n").collect()
}

/// Changes cells of a table without quotes.
fn cells(file: &Path, column: &str, change: impl Fn(u64, &str) -> String) {
    let mut table = rows(&fs::read_to_string(file).unwrap());
    let position = table[0].iter().position(|header| header == column).unwrap_or_else(|| panic!("a column {column}"));
    for (row, cells) in table.iter_mut().enumerate().skip(1) {
        cells[position] = change(row as u64 + 1, &cells[position]);
    }
    fs::write(file, joined(&table)).unwrap();
}

impl Change {
    fn apply(&self, programme: &Path, file: &Path) {
        match self {
            Self::Cell(row, column, text) => {
                let quoted = if text.contains(',') { format!("\"{text}\"") } else { (*text).to_owned() };
                cells(file, column, |at, old| if at == *row { quoted.clone() } else { old.to_owned() });
            }
            Self::Column(column, change) => cells(file, column, change),
            Self::Text(from, to) => crate::run::edit(file, from, to),
            Self::Rows(change) => {
                let lines = fs::read_to_string(file).unwrap().lines().map(str::to_owned).collect();
                fs::write(file, change(lines).join("\n") + "\n").unwrap();
            }
            Self::Bytes(change) => fs::write(file, change(fs::read(file).unwrap())).unwrap(),
            Self::Gone => fs::remove_file(file).unwrap(),
            Self::Folder(change) => change(programme),
        }
    }
}

/// What `check` finds, and how often.
fn found(folder: &Path) -> BTreeMap<Found, usize> {
    let run = stook_in(folder, ["check", "trials", "--format", "json"]);
    let findings = run.json()["findings"].as_array().expect("a list of findings").clone();
    let mut found = BTreeMap::new();
    for finding in findings {
        let text = |key: &str| finding[key].as_str().unwrap_or_default().to_owned();
        let key = (text("severity"), text("code"), text("file"), finding["row"].as_u64(), text("column"));
        *found.entry(key).or_default() += 1;
    }
    found
}

const PLOTS_2023: &str = "upper-terrace-2023/plots.csv";
const TRIAL_2023: &str = "upper-terrace-2023/trial.toml";
const LEAF_2023: &str = "upper-terrace-2023/leaf.csv";
const PLOTS_2025: &str = "osier-bend-2025/plots.csv";
const TRIAL_2025: &str = "osier-bend-2025/trial.toml";
const READINGS_2025: &str = "osier-bend-2025/readings.csv";
const PLOTS_TERRACE: &str = "upper-terrace-2025/plots.csv";
const TRIAL_TERRACE: &str = "upper-terrace-2025/trial.toml";

/// A plate of 45 read 1.4 too high at noon.
const PLATE_OFF: &str = r#"[[plate_check]]
instrument = "leaf-chlorophyll"
tolerance = 1.0
expected = 45.0
readings = [
    { date = 2023-04-06, time = "8:00", value = 45.1 },
    { date = 2023-04-06, time = "10:00", value = 44.9 },
    { date = 2023-04-06, time = "12:00", value = 46.4 },
]
[harvest]"#;
/// The same plate read 0.8 too low in the morning, 0.9 too high at noon.
const PLATE_DRIFT: &str = r#"[[plate_check]]
instrument = "leaf-chlorophyll"
tolerance = 1.0
expected = 45.0
readings = [
    { date = 2023-04-06, time = "8:00", value = 44.2 },
    { date = 2023-04-06, time = "10:00", value = 45.0 },
    { date = 2023-04-06, time = "12:00", value = 45.9 },
]
[harvest]"#;

fn broken(
    what: &'static str,
    file: &'static str,
    change: Change,
    code: &'static str,
    row: impl Into<Row>,
    column: &'static str,
) -> Broken {
    Broken { what, file, change, code, found_in: None, row: row.into(), column }
}

impl Broken {
    fn found_in(self, file: &'static str) -> Self {
        Self { found_in: Some(file), ..self }
    }
}

/// What the reader must find.
#[rustfmt::skip] // A case a line reads as a table.
fn broken_for_the_reader() -> Vec<Broken> {
    use Change::{Bytes, Cell, Column, Folder, Gone, Rows, Text};
    vec![
        broken("a word for a number", PLOTS_2023, Cell(4, "yield", "plugged"), "not-a-number", 4, "yield"),
        broken("a unit in a cell", PLOTS_2023, Cell(4, "yield", "87.3 bu"), "not-a-number", 4, "yield"),
        broken("a thousands separator", PLOTS_2023, Cell(4, "yield", "1,087"), "not-a-number", 4, "yield"),
        broken("a decimal comma", PLOTS_2023, Cell(4, "yield", "87,3"), "not-a-number", 4, "yield"),
        broken("a percent sign", PLOTS_2025, Cell(4, "moist", "12.8%"), "not-a-number", 4, "moist"),
        broken("a spreadsheet's error", PLOTS_2023, Cell(4, "yield", "#DIV/0!"), "not-a-number", 4, "yield"),
        broken("a negative yield", PLOTS_2023, Cell(4, "yield", "-87.3"), "out-of-range", 4, "yield"),
        broken("an impossible yield", PLOTS_2023, Cell(4, "yield", "873000"), "out-of-range", 4, "yield"),
        broken("a negative rate", PLOTS_2025, Cell(9, "early_n", "-50"), "out-of-range", 9, "early_n"),
        broken("an impossible rate", PLOTS_2025, Cell(9, "early_n", "50000"), "out-of-range", 9, "early_n"),
        broken("a missing rate", PLOTS_2025, Cell(9, "early_n", ""), "missing-cell", 9, "early_n"),
        broken("a missing block", PLOTS_2023, Cell(9, "rep", "."), "missing-cell", 9, "rep"),
        broken("a missing plot number", PLOTS_2023, Cell(9, "plot", "NA"), "missing-cell", 9, "plot"),
        broken("a missing moisture", PLOTS_2025, Cell(9, "moist", "*"), "missing-cell", 9, "moist"),
        broken("an impossible moisture", PLOTS_2025, Cell(9, "moist", "128"), "out-of-range", 9, "moist"),
        broken("an impossible protein", PLOTS_2025, Cell(9, "protein", "117"), "out-of-range", 9, "protein"),
        broken("an impossible NDVI", PLOTS_2023, Cell(9, "ndvi_apr05", "5.54"), "out-of-range", 9, "ndvi_apr05"),
        broken("an impossible leaf reading", LEAF_2023, Cell(9, "value", "463"), "out-of-range", 9, "value"),
        broken("a leaf without a number", LEAF_2023, Cell(9, "leaf", "top"), "not-a-number", 9, "leaf"),
        broken("a date of two readings", LEAF_2023, Cell(9, "date", "06/04/2023"), "not-a-date", 9, "date"),
        broken("a date that is none", LEAF_2023, Cell(9, "date", "2023-04-31"), "not-a-date", 9, "date"),
        broken("a stage misspelt", LEAF_2023, Cell(9, "stage", "Feeks 5"), "not-a-stage", 9, "stage"),
        broken("a reading of no plot", LEAF_2023, Cell(9, "plot", "171"), "unknown-plot", 9, "plot"),
        broken("a reading twice", LEAF_2023, Rows(|mut rows| { rows.push(rows[8].clone()); rows }), "duplicate-reading", 722, "value"),
        broken("a reading twice in a long file", READINGS_2025, Rows(|mut rows| { rows.insert(9, rows[8].clone()); rows }), "duplicate-reading", 10, "value"),
        broken("a plot twice", PLOTS_2023, Rows(|mut rows| { rows.push(rows[8].clone()); rows }), "duplicate-plot", 26, "plot"),
        broken("a row cut short", PLOTS_2023, Rows(|mut rows| { rows[8] = "202,2,0".to_owned(); rows }), "ragged-row", 9, ""),
        broken("a cell too many", PLOTS_2023, Rows(|mut rows| { rows[8] += ",12"; rows }), "ragged-row", 9, ""),
        broken("a quote never closed", PLOTS_2023, Rows(|mut rows| { rows[8] = "202,2,0,0.365,0.554,\"37.7".to_owned(); rows }), "unclosed-quote", 9, ""),
        broken("a header twice", PLOTS_2023, Rows(|mut rows| { rows[0] += ",yield"; rows[1..].iter_mut().for_each(|row| *row += ",7"); rows }), "duplicate-header", "yield = {", "harvest.yield.column").found_in(TRIAL_2023),
        broken("a header renamed", PLOTS_2023, Text("ndvi_mar16", "ndvi_march16"), "missing-column", "ndvi_mar16", "readings.columns.column").found_in(TRIAL_2023),
        broken("a title above the headers", PLOTS_2023, Rows(|mut rows| { rows.insert(0, "Upper Terrace,,,,,".to_owned()); rows }), "header-row", 1, ""),
        broken("a short title above the headers", LEAF_2023, Rows(|mut rows| { rows.insert(0, "leaf readings".to_owned()); rows }), "header-row", 1, ""),
        broken("headers without rows", PLOTS_2023, Rows(|rows| rows[..1].to_vec()), "no-rows", 1, ""),
        broken("an empty file", PLOTS_2023, Bytes(|_| Vec::new()), "empty-file", Row::None, ""),
        broken("a byte that is no UTF-8", PLOTS_2023, Bytes(|bytes| bytes.iter().map(|byte| if *byte == b'9' { 0xb9 } else { *byte }).collect()), "not-utf8", 2, ""),
        broken("a file that is gone", LEAF_2023, Gone, "cannot-read", "leaf.csv", "readings.file").found_in(TRIAL_2023),
        broken("a folder for a file", LEAF_2023, Folder(|programme| {
            fs::remove_file(programme.join(LEAF_2023)).unwrap();
            fs::create_dir(programme.join(LEAF_2023)).unwrap();
        }), "cannot-read", Row::None, ""),
        broken("a descriptor that is gone", TRIAL_2023, Gone, "no-descriptor", Row::None, "").found_in("upper-terrace-2023"),
        broken("an unknown key", TRIAL_2023, Text("block = ", "blok = "), "unknown-key", "blok", "plots.blok"),
        broken("a key that is missing", TRIAL_2023, Text("site = \"Upper Terrace\"\n", ""), "missing-key", 1, "site"),
        broken("an unknown unit", TRIAL_2023, Text("unit = \"bu/ac\"", "unit = \"bu/acre\""), "unknown-value", "bu/acre", "harvest.yield.unit"),
        broken("an unknown design", TRIAL_2023, Text("randomised-complete-block", "rcbd"), "unknown-value", "rcbd", "design"),
        broken("strips of a design that has none", TRIAL_2023, Text("need_from", "strip = [\"variety\"]\nneed_from"), "conflicting-keys", "strip", "strip"),
        broken("a broken descriptor", TRIAL_2023, Text("site = \"Upper Terrace\"", "site = \"Upper Terrace"), "toml-syntax", "site", ""),
        broken("another format", TRIAL_2023, Text("format = 1", "format = 7"), "format-version", 1, "format"),
        broken("a sheet of a file that has none", TRIAL_2023, Text("plot = \"plot\"", "plot = \"plot\"\nsheet = \"2023\""), "unsuited-key", "sheet", "plots.sheet"),
        broken("a workbook that is none", TRIAL_2023, Folder(|programme| {
            fs::write(programme.join("upper-terrace-2023/plots.xlsx"), "not a workbook").unwrap();
            crate::run::edit(&programme.join(TRIAL_2023), "plots.csv", "plots.xlsx");
        }), "not-a-workbook", Row::None, "").found_in("upper-terrace-2023/plots.xlsx"),
        broken("a plot left out that is none", TRIAL_2023, Text("plot = 304", "plot = 504"), "unknown-plot", "504", "exclude.plot"),
        broken("a reference that no plot is", TRIAL_2023, Text("equals = 326", "equals = 330"), "no-reference", "equals", "reference.where.equals"),
        broken("a trial left out that is none", "programme.toml", Text("mill-ground-2024", "mill-grund-2024"), "unknown-folder", "leave_out", "leave_out"),
        broken("a topdress before the early N", TRIAL_2025, Text("2025-04-09", "2025-02-09"), "timing-contradicts-dates", "before-sensing", "application.timing"),
        broken("a topdress on a sensing day", TRIAL_TERRACE, Text("2025-04-08", "2025-04-04"), "same-day", "date = 2025-04-04", "application.date"),
        broken("N that is too young to show", TRIAL_TERRACE, Text("2025-02-18", "2025-03-08"), "young-nitrogen", "2025-03-08", "application.date"),
        broken("another harvest year", TRIAL_2023, Text("harvest_year = 2023", "harvest_year = 2026"), "other-season", "harvest_year", "harvest_year"),
        broken("N after the topdress that differs", TRIAL_TERRACE, Text("[reference]", "[[application]]\nname = \"late\"\nn = \"early_n\"\ndate = 2025-05-08\ntiming = \"after-sensing\"\n\n[reference]"), "late-nitrogen-varies", "late", "application.name"),
        broken("a plot of a giant", TRIAL_2025, Text("length = 7.5", "length = 75000"), "out-of-range", "75000", "harvest.area.length"),
        broken("a price ratio twice", "programme.toml", Text("[0.05, 0.15]", "[0.05, 0.15, 0.15]"), "duplicate-price-ratio", "other_price_ratios", "prices.other_price_ratios"),
        broken("a whole column wrong", PLOTS_2023, Column("yield", |_, text| format!("{text} bu")), "not-a-number", 2, "yield"),
        broken("a column of decimal commas", PLOTS_2023, Column("yield", |_, text| format!("\"{}\"", text.replace('.', ","))), "not-a-number", 2, "yield"),
    ]
}

/// What the checks of a whole trial must find.
#[rustfmt::skip] // A case a line reads as a table.
fn broken_for_the_checks() -> Vec<Broken> {
    use Change::{Cell, Column, Folder, Rows, Text};
    vec![
        broken("a zero for a missing yield", PLOTS_2023, Cell(11, "yield", "0"), "zero-for-missing", 11, "yield"),
        broken("a zero for a missing NDVI", PLOTS_2023, Cell(11, "ndvi_apr05", "0"), "zero-for-missing", 11, "ndvi_apr05"),
        broken("a yield with its figures turned", PLOTS_2023, Cell(11, "yield", "19.6"), "outlying-plot", 11, "yield"),
        broken("a yield with its point slipped", PLOTS_2023, Cell(16, "yield", "4.64"), "outlying-plot", 16, "yield"),
        broken("a moisture out of range", PLOTS_2025, Cell(9, "moist", "33.1"), "moisture-range", 9, "moist"),
        broken("a protein out of range", PLOTS_2025, Cell(9, "protein", "31.1"), "protein-range", 9, "protein"),
        broken("a leaf reading out of range", LEAF_2023, Cell(9, "value", "4.63"), "leaf-reading-range", 9, "value"),
        broken("an NDVI out of range", PLOTS_TERRACE, Cell(12, "ndvi_apr04", "0.99"), "ndvi-range", 12, "ndvi_apr04"),
        broken("a leaf meter off its plate", TRIAL_2023, Text("[harvest]", PLATE_OFF), "plate-out-of-tolerance", "value = 46.4", "plate_check.readings.value"),
        broken("a leaf meter that drifts", TRIAL_2023, Text("[harvest]", PLATE_DRIFT), "plate-drift", "value = 45.9", "plate_check.readings.value"),
        broken("yields in the wrong unit", TRIAL_2023, Text("unit = \"bu/ac\"", "unit = \"kg/ha\""), "yield-unit", 2, "yield").found_in(PLOTS_2023),
        broken("a rate near a level", PLOTS_2025, Cell(9, "early_n", "50.5"), "near-level", 9, "early_n"),
        broken("a rate far above the others'", PLOTS_TERRACE, Cell(12, "top_n", "700"), "high-rate", 12, "top_n"),
        broken("a factor with one level", TRIAL_TERRACE, Folder(|programme| {
            let plots = programme.join(PLOTS_TERRACE);
            let text = fs::read_to_string(&plots).unwrap();
            let with = text.lines().enumerate().map(|(row, line)| format!("{line},{}\n", if row == 0 { "fungicide" } else { "yes" }));
            fs::write(&plots, with.collect::<String>()).unwrap();
            crate::run::edit(&programme.join(TRIAL_TERRACE), "need_from", "factors = [\"fungicide\"]\nneed_from");
        }), "one-level", Row::None, "fungicide").found_in(PLOTS_TERRACE),
        broken("a number of another block", PLOTS_2023, Cell(9, "rep", "3"), "number-in-other-block", 9, "rep"),
        broken("a treatment twice in a block", PLOTS_2023, Cell(9, "urea_lb_ac", "65"), "repeated-treatment", 9, "urea_lb_ac"),
        broken("a treatment that no other block has", PLOTS_2023, Cell(11, "urea_lb_ac", "163"), "lone-treatment", 11, "urea_lb_ac"),
        broken("a plot without its row", PLOTS_2023, Folder(|programme| {
            for file in [PLOTS_2023, LEAF_2023] {
                let text = fs::read_to_string(programme.join(file)).unwrap();
                let kept = text.lines().filter(|line| !line.starts_with("204,"));
                fs::write(programme.join(file), kept.map(|line| format!("{line}\n")).collect::<String>()).unwrap();
            }
        }), "missing-treatment", Row::None, "rep"),
        broken("readings copied from plot to plot", LEAF_2023, Column("value", |row, text| match row {
            62..=91 => ["45.1", "44.2", "46.0", "43.3", "47.9", "45.5"][row as usize % 6].to_owned(),
            92..=121 => ["45.1", "44.2", "46.0", "43.3", "47.9", "45.5"][(row as usize - 30) % 6].to_owned(),
            _ => text.to_owned(),
        }), "repeated-readings", 92, "value"),
        broken("a reference that is not rich", TRIAL_2023, Text("equals = 326", "equals = 0"), "reference-not-rich", 5, "urea_lb_ac").found_in(PLOTS_2023),
        broken("no reference of a variety", "upper-terrace-2024/plots.csv", Rows(|rows| rows.iter().map(|row| row.replace("Dark Sedge,rich", "Pale Heron,rich")).collect()), "no-reference-for-plots", 3, "cultivar"),
        broken("readings after the topdress", "upper-terrace-2025/leaf.csv", Column("date", |_, _| "2025-04-24".to_owned()), "readings-after-topdress", 2, "value"),
        broken("a stage that goes back", TRIAL_2023, Text("2023-04-05, stage = \"Feekes 5\"", "2023-04-05, stage = \"Feekes 2\""), "stage-goes-back", 2, "ndvi_apr05").found_in(PLOTS_2023),
        broken("a variety spelt another way", TRIAL_2023, Text("Pale Heron", "pale heron"), "two-spellings", Row::None, "plots.variety"),
        broken("a trial twice", TRIAL_2023, Folder(|programme| {
            let copy = programme.join("upper-terrace-again");
            fs::create_dir(&copy).unwrap();
            for file in ["trial.toml", "plots.csv", "leaf.csv"] {
                fs::copy(programme.join("upper-terrace-2023").join(file), copy.join(file)).unwrap();
            }
        }), "same-site-year", Row::None, "site").found_in("upper-terrace-again/trial.toml"),
        broken("readings shifted by one plot", PLOTS_2023, Rows(|rows| {
            let table: Vec<Vec<String>> = rows.iter().map(|row| row.split(',').map(str::to_owned).collect()).collect();
            let shifted = |(row, cells): (usize, &Vec<String>)| {
                let mut cells = cells.clone();
                if row > 0 {
                    cells[4] = table[if row == 1 { table.len() - 1 } else { row - 1 }][4].clone();
                }
                cells.join(",")
            };
            table.iter().enumerate().map(shifted).collect()
        }), "readings-out-of-order", 2, "ndvi_apr05"),
    ]
}

/// Whether the findings of a broken programme are those of the demo and the one that is expected; else what came instead.
fn verdict(demo: &BTreeMap<Found, usize>, broken: &Broken) -> Result<(), String> {
    let copy = programme_copy();
    let programme = copy.path().join("trials");
    broken.change.apply(&programme, &programme.join(broken.file));
    let mut after = found(copy.path());
    for (finding, count) in demo {
        if let Some(left) = after.get_mut(finding) {
            *left = left.saturating_sub(*count);
        }
    }
    after.retain(|_, count| *count > 0);
    let file = broken.found_in.unwrap_or(broken.file);
    let expected = broken.row.number(&programme.join(file));
    let new: Vec<&Found> = after.keys().collect();
    match new.as_slice() {
        [(_, code, at, row, column)]
            if (code.as_str(), at.as_str(), *row, column.as_str()) == (broken.code, file, expected, broken.column) =>
        {
            Ok(())
        }
        _ => Err(format!(
            "{}: {} in {file} at {:?} {}, found {new:?}",
            broken.what, broken.code, expected, broken.column
        )),
    }
}

fn assert_found(all: &[Broken]) {
    let demo = found(&crate::run::package());
    let wrong: Vec<String> = all.iter().filter_map(|broken| verdict(&demo, broken).err()).collect();
    assert!(
        wrong.is_empty(),
        "{} of {} are not found as they should be:\n{}",
        wrong.len(),
        all.len(),
        wrong.join("\n")
    );
}

#[test]
fn one_thing_broken_in_the_files_is_found_in_its_place_and_nothing_else() {
    assert_found(&broken_for_the_reader());
}

#[test]
fn one_thing_broken_in_a_trial_is_found_in_its_place_and_nothing_else() {
    assert_found(&broken_for_the_checks());
}

#[test]
fn a_main_plot_of_two_levels_stops_what_follows_from_it() {
    let copy = programme_copy();
    let plots = copy.path().join("trials").join(PLOTS_2025);
    let text = fs::read_to_string(&plots).unwrap();
    let with = text.lines().enumerate().map(|(row, line)| {
        let main_plot = match row {
            0 => "mp".to_owned(),
            _ => line.split(',').skip(1).take(2).collect::<String>().replace(' ', ""),
        };
        let line = if row == 8 { line.replace("Dark Sedge", "Pale Heron") } else { line.to_owned() };
        format!("{line},{main_plot}\n")
    });
    fs::write(&plots, with.collect::<String>()).unwrap();
    crate::run::edit(
        &copy.path().join("trials").join(TRIAL_2025),
        "block = \"rep\"",
        "block = \"rep\"\nmain_plot = \"mp\"",
    );
    let check = stook_in(copy.path(), ["check", "trials/osier-bend-2025"]);
    assert!(check.stdout.contains("holds two levels of \"variety\""), "{}", check.stdout);
    let season = stook_in(copy.path(), ["season", "trials"]);
    assert_eq!((season.status, season.stdout.as_str()), (2, ""));
    assert!(season.stderr.contains("main-plot-levels"), "{}", season.stderr);
}
