//! `stook table`

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::Map;

use super::deliver::Answer;
use super::failure::Failure;
use super::source::TablesFlags;
use super::table_file::{picture, read_table};
use crate::figures::render_card;
use crate::finding::{Finding, Place};
use crate::output::{
    Format, NoTables, Provenance, Report as _, WriteError, provenance_of, rate_table_parquet, rate_table_workbook,
    repriced_text, table_text, write_file,
};
use crate::rate_table::RateTable;
use crate::recommend::{NewPrices, reprice};

/// Derive the rate table: for an index, the N rate to topdress
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    #[arg(required_unless_present = "reprice")]
    path: Option<PathBuf>,
    /// Derive this table again at other prices, from what its JSON file carries, without its trials
    #[arg(long, value_name = "TABLE", conflicts_with_all = ["path", "name", "seed"])]
    reprice: Option<PathBuf>,
    /// Also draw the table as a card of one page, to a file that ends in .pdf or .svg
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    #[command(flatten)]
    tables: TablesFlags,
}

const EXAMPLES: &str = "As JSON this is the table itself, as `stook lookup --table` reads it.

Examples:
  stook table trials
  stook table trials --name leaf-jointing --format json --out leaf-jointing.json
  stook table trials --name leaf-jointing --card leaf-jointing.pdf
  stook table --reprice leaf-jointing.json --grain-price 5.20 --n-price 0.75 --format json --out repriced.json";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    match (&flags.reprice, &flags.path) {
        (Some(file), _) => repriced(file, flags),
        (None, Some(path)) => derived(path, flags),
        (None, None) => Err(Failure::usage("name the folder of a programme or trial, or a table with --reprice")),
    }
}

fn derived(path: &Path, flags: &Flags) -> Result<Answer, Failure> {
    let format = flags.tables.output.format();
    let loaded = flags.tables.read(path)?;
    let names: Vec<&str> = loaded.value.tables.iter().map(|table| table.name.as_str()).collect();
    match (names.as_slice(), format) {
        ([], _) => return Err(Failure::usage("the programme wants no rate table: add [[table]] to programme.toml")),
        ([_], _) => {}
        (_, Format::Text | Format::Xlsx | Format::Parquet) if flags.card.is_none() => {}
        _ => {
            return Err(Failure::usage(format!(
                "JSON, CSV and a card hold one table: choose with --name ({})",
                names.join(", ")
            )));
        }
    }
    let season = flags.tables.season(loaded)?;
    let tables: Vec<&RateTable> =
        season.tables.iter().filter_map(|result| result.derived.table.as_ref().ok()).collect();
    let missing = NoTables::of(&season.tables);
    if tables.is_empty() {
        return Answer::report(&missing, &provenance_of(&season), false, &flags.tables.output);
    }
    if let [table] = tables.as_slice() {
        draw_card(table, flags, path)?;
    }
    let missing = if missing.tables.is_empty() { String::new() } else { missing.text() };
    let written = bytes(&tables, &missing, &table_text, &provenance_of(&season), format)?;
    Ok(Answer::bytes(written, true, flags.tables.output.out.clone()))
}

/// A table at other prices.
fn repriced(file: &Path, flags: &Flags) -> Result<Answer, Failure> {
    let (price_ratio, money) = flags.tables.prices()?;
    let price_ratio = price_ratio.ok_or_else(|| {
        Failure::usage("--reprice needs the new prices: --price-ratio, or --grain-price with --n-price")
    })?;
    let (table, input) = read_table(file)?;
    flags.tables.output.spares(file, Some(&[]))?;
    let new = reprice(&table, NewPrices { price_ratio, money }, &input).map_err(|reason| {
        let place = Place::file(file.display().to_string());
        Finding::error("not-repriced", place, reason.to_string())
            .remedy("derive the table from its trials (stook table FOLDER), or take one that carries its plot yields")
    })?;
    draw_card(&new, flags, file)?;
    let provenance = Provenance { inputs: vec![input], options: Map::new(), seed: None, warnings: Vec::new() };
    let format = flags.tables.output.format();
    let written = bytes(&[&new], "", &|new| repriced_text(&table, new), &provenance, format)?;
    Ok(Answer::bytes(written, true, flags.tables.output.out.clone()))
}

/// Tables in a format; `missing` ends the text.
fn bytes(
    tables: &[&RateTable],
    missing: &str,
    text: &dyn Fn(&RateTable) -> String,
    provenance: &Provenance,
    format: Format,
) -> Result<Vec<u8>, WriteError> {
    let joined = |write: &dyn Fn(&RateTable) -> String, end: &str| {
        let end = (!end.is_empty()).then(|| end.to_owned());
        tables.iter().map(|table| write(table)).chain(end).collect::<Vec<_>>().join("\n").into_bytes()
    };
    Ok(match format {
        Format::Text => joined(text, missing),
        Format::Json => joined(&RateTable::write, ""),
        Format::Csv => joined(&RateTable::to_csv, ""),
        Format::Xlsx => rate_table_workbook(tables, provenance)?,
        Format::Parquet => rate_table_parquet(tables)?,
    })
}

/// The card, where one is wanted.
fn draw_card(table: &RateTable, flags: &Flags, input: &Path) -> Result<(), Failure> {
    let Some(file) = &flags.card else { return Ok(()) };
    let (file, ending) = picture(file, &["pdf", "svg"], &[input])?;
    let card = render_card(table).map_err(|error| {
        let place = Place::file(file.display().to_string());
        Finding::error("no-card", place, error.to_string()).remedy("leave --card out")
    })?;
    Ok(write_file(file, &if ending == "svg" { card.svg.into_bytes() } else { card.pdf })?)
}
