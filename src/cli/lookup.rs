//! `stook lookup`

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Map, Value};

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, not_negative};
use crate::finding::{Finding, Place};
use crate::output::{LookupAnswer, Provenance, digest};
use crate::rate_table::{Asked, RateTable};
use crate::trial::InputFile;

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
    let provenance = Provenance { inputs: vec![input], options: flags.options(), ..Provenance::default() };
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

fn read_table(file: &Path) -> Result<(RateTable, InputFile), Failure> {
    let name = file.display().to_string();
    let refused = |text: String, remedy: &str| -> Failure {
        Finding::error("not-a-table", Place::file(&name), text).remedy(remedy).into()
    };
    let remedy = "name a table file that `stook season` or `stook table --format json` has written";
    let text = fs::read_to_string(file).map_err(|error| {
        let text = match error.kind() {
            ErrorKind::NotFound => "there is no such file".to_owned(),
            ErrorKind::IsADirectory => "it is a folder, not a file".to_owned(),
            ErrorKind::InvalidData => "it is no text: the bytes are not UTF-8".to_owned(),
            _ => format!("it can't be read: {error}"),
        };
        refused(text, remedy)
    })?;
    if text.starts_with('\u{feff}') {
        let text = "it begins with an invisible byte-order mark, which an editor has put there".to_owned();
        return Err(refused(text, "take the table as it was written, or save it as UTF-8 without the mark"));
    }
    let table = RateTable::read(&text).map_err(|error| refused(error.to_string(), remedy))?;
    Ok((table, InputFile { file: name, sha256: digest(text.as_bytes()) }))
}
