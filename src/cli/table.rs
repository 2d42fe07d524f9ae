//! `stook table`

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::source::TablesFlags;
use crate::output::{
    Format, NoTables, Report as _, WriteError, provenance_of, rate_table_parquet, rate_table_workbook, table_text,
};
use crate::rate_table::RateTable;

/// Derive the rate table: for an index, the N rate to topdress
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    tables: TablesFlags,
}

const EXAMPLES: &str = "As JSON this is the table itself, as `stook lookup --table` reads it.

Examples:
  stook table trials
  stook table trials --name leaf-jointing --format json --out leaf-jointing.json";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let format = flags.tables.output.format();
    let loaded = flags.tables.read()?;
    let names: Vec<&str> = loaded.value.tables.iter().map(|table| table.name.as_str()).collect();
    match (names.as_slice(), format) {
        ([], _) => return Err(Failure::usage("the programme wants no rate table: add [[table]] to programme.toml")),
        ([_], _) | (_, Format::Text | Format::Xlsx | Format::Parquet) => {}
        _ => {
            return Err(Failure::usage(format!(
                "JSON and CSV hold one table: choose with --name ({})",
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
    let joined = |write: &dyn Fn(&RateTable) -> String| {
        let missing =
            if format == Format::Text && !missing.tables.is_empty() { vec![missing.text()] } else { Vec::new() };
        tables.iter().map(|table| write(table)).chain(missing).collect::<Vec<_>>().join("\n").into_bytes()
    };
    let bytes = match format {
        Format::Text => joined(&table_text),
        Format::Json => joined(&RateTable::write),
        Format::Csv => joined(&RateTable::to_csv),
        Format::Xlsx => rate_table_workbook(&tables, &provenance_of(&season)).map_err(WriteError::from)?,
        Format::Parquet => rate_table_parquet(&tables).map_err(WriteError::from)?,
    };
    Ok(Answer::bytes(bytes, true, flags.tables.output.out.clone()))
}
