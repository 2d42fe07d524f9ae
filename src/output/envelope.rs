//! What every output carries besides its results: where it came from and what it warns of.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::layout::paragraph;
use super::long::csv;
use super::workbook::{About, Sheet, workbook};
use crate::files::export::{ExportError, Table, parquet};
use crate::finding::Finding;
use crate::trial::InputFile;

/// The result of one command, in each of the formats that it is written in.
pub trait Report: Serialize {
    /// The command, as in `stook/<command>/1`.
    const COMMAND: &'static str;

    /// For a reader.
    fn text(&self) -> String;

    /// As one long table.
    fn table(&self) -> Table;

    /// The long table as CSV.
    fn csv(&self) -> String {
        csv(&self.table())
    }
}

/// A format that results are written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Text for a reader.
    Text,
    /// One JSON object.
    Json,
    /// Long CSV.
    Csv,
    /// The long table in a workbook, with a sheet about it.
    Xlsx,
    /// The long table as Parquet.
    Parquet,
}

/// What made a result.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Provenance {
    /// Every file read, with its digest.
    pub inputs: Vec<InputFile>,
    /// The options in force, by name.
    pub options: Map<String, Value>,
    /// The seed of everything left to chance; `None` where nothing was.
    pub seed: Option<u64>,
    /// What the input and the results give to know.
    pub warnings: Vec<Finding>,
}

/// A warning as scripts read it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Warning {
    /// A stable name of the kind of warning.
    pub code: &'static str,
    /// Where and what, in words.
    pub text: String,
}

impl From<&Finding> for Warning {
    fn from(finding: &Finding) -> Self {
        Self { code: finding.code, text: finding.to_string() }
    }
}

/// A result with what made it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Envelope<'a, T> {
    /// Kind and version of the document: `stook/<command>/1`.
    pub schema: String,
    /// Version of stook.
    pub version: &'static str,
    /// Every file read.
    pub inputs: &'a [InputFile],
    /// The options in force.
    pub options: &'a Map<String, Value>,
    /// The seed, where anything was left to chance.
    pub seed: Option<u64>,
    /// What a reader should know.
    pub warnings: Vec<Warning>,
    /// The result.
    #[serde(flatten)]
    pub result: &'a T,
}

/// Digits of a digest that a text shows.
const DIGEST_SHOWN: usize = 12;

/// Version of every document written here.
const DOCUMENT_VERSION: u32 = 1;

/// The name of a command's documents.
pub(super) fn schema_name(command: &str) -> String {
    format!("stook/{command}/{DOCUMENT_VERSION}")
}

/// A report with its provenance, as one JSON object with a line feed at the end.
#[must_use]
pub fn json<T: Report>(report: &T, provenance: &Provenance) -> String {
    let envelope = Envelope {
        schema: schema_name(T::COMMAND),
        version: env!("CARGO_PKG_VERSION"),
        inputs: &provenance.inputs,
        options: &provenance.options,
        seed: provenance.seed,
        warnings: provenance.warnings.iter().map(Warning::from).collect(),
        result: report,
    };
    pretty(&envelope)
}

/// JSON, two spaces a level, with a line feed at the end. Numbers that are not finite become null.
pub(super) fn pretty<T: Serialize>(value: &T) -> String {
    // Serialising fails only on maps whose keys are not text, and there are none.
    serde_json::to_string_pretty(value).unwrap_or_default() + "\n"
}

/// A report in a format. Text ends with the warnings; CSV and Parquet have no place for them.
///
/// # Errors
/// A table that is too large for a workbook.
pub fn render<T: Report>(report: &T, provenance: &Provenance, format: Format) -> Result<Vec<u8>, ExportError> {
    Ok(match format {
        Format::Text => (report.text() + &warnings_text(&provenance.warnings) + &made_by(provenance)).into_bytes(),
        Format::Json => json(report, provenance).into_bytes(),
        Format::Csv => report.csv().into_bytes(),
        Format::Xlsx => {
            let about = About { title: format!("stook {}", T::COMMAND), ..About::default() };
            workbook(&about, &[Sheet::new(T::COMMAND, report.table(), "")], provenance)?
        }
        Format::Parquet => parquet(&report.table())?,
    })
}

/// One line on what made a text: version, inputs, seed.
pub(super) fn made_by(provenance: &Provenance) -> String {
    let inputs = match provenance.inputs.as_slice() {
        [] => String::new(),
        [one] => format!(" from {} (sha256 {}…)", one.file, one.sha256.get(..DIGEST_SHOWN).unwrap_or(&one.sha256)),
        several => format!(" from {} files (their digests: --format json)", several.len()),
    };
    let seed = provenance.seed.map_or_else(String::new, |seed| format!(", seed {seed}"));
    format!("\nMade by stook {}{inputs}{seed}.\n", env!("CARGO_PKG_VERSION"))
}

/// The warnings as a list under a head; empty without any.
#[must_use]
pub fn warnings_text(warnings: &[Finding]) -> String {
    if warnings.is_empty() {
        return String::new();
    }
    let items = warnings.iter().map(|warning| {
        let remedy = warning.remedy.as_ref().map_or_else(String::new, |remedy| format!(" ({remedy})"));
        paragraph("  - ", &format!("{warning}{remedy}"))
    });
    format!("\nWarnings ({}):\n{}", warnings.len(), items.collect::<String>())
}
