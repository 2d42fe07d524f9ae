//! `stook lookup`

use std::path::PathBuf;

use clap::Args;
use serde_json::{Map, Value};

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, not_negative};
use super::table_file::{read_table, warn_of_version};
use crate::output::{LookupAnswer, Provenance};
use crate::rate_table::Asked;

/// The N rate for one reading and its N-rich reference, from a table file, as a field calculator would
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Table file, as in season/tables/leaf-jointing.json
    #[arg(long, value_name = "FILE")]
    table: PathBuf,
    /// Mean reading of the stand, as on the instrument
    #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
    reading: String,
    /// Mean reading of its N-rich reference, with the same instrument on the same day
    #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
    reference: String,
    /// Growth stage of the stand, checked against the table
    #[arg(long, value_name = "STAGE")]
    stage: Option<String>,
    /// Variety of the stand, checked against the table
    #[arg(long, value_name = "VARIETY")]
    variety: Option<String>,
    /// Kind of instrument, checked against the table
    #[arg(long, value_name = "KIND")]
    instrument: Option<String>,
    /// One of the table's price ratios [default: its base]
    #[arg(long, value_name = "RATIO", value_parser = not_negative, allow_negative_numbers = true)]
    price_ratio: Option<f64>,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "Without a rate the exit status is 1, and the reason is in the answer.

Examples:
  stook lookup --table season/tables/leaf-jointing.json --reading 51 --reference 55
  stook lookup --table leaf-jointing.json --reading 51.2 --reference 55 --stage \"Feekes 5\" --variety \"Pale Heron\"";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let (table, input) = read_table(&flags.table)?;
    flags.output.spares(&flags.table, Some(&[]))?;
    let asked = Asked {
        instrument: flags.instrument.as_deref(),
        stage: flags.stage.as_deref(),
        variety: flags.variety.as_deref(),
        price_ratio: flags.price_ratio,
    };
    let lookup = table.lookup(&flags.reading, &flags.reference, &asked);
    let answered = lookup.rate.is_some();
    let answer = LookupAnswer::of(&table, &flags.reading, &flags.reference, lookup);
    let warnings = warn_of_version(&table, &flags.table).into_iter().collect();
    let provenance = Provenance { inputs: vec![input], options: flags.options(), warnings, seed: None };
    Answer::report(&answer, &provenance, answered, &flags.output)
}

impl Flags {
    fn options(&self) -> Map<String, Value> {
        let options = [
            ("reading", Value::from(self.reading.as_str())),
            ("reference", self.reference.as_str().into()),
            ("stage", self.stage.as_deref().into()),
            ("variety", self.variety.as_deref().into()),
            ("instrument", self.instrument.as_deref().into()),
            ("price_ratio", self.price_ratio.into()),
        ];
        options.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
    }
}
