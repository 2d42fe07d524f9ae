//! A document that is known to be consistent, its text, and its digest.

use super::document::Document;
use super::version_1::{Document1, SCHEMA_1};
use super::{TableError, cautions, check};
use crate::trial::Outside;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use sha2::{Digest, Sha256};

/// What a rate table's `schema` says.
pub const SCHEMA: &str = "stook/table/2";

/// How a reading becomes a rate, in words that stand in every document. Two programs that follow them
/// give the same rate for the same text.
pub const LOOKUP_RULE: [&str; 6] = [
    "Reading and reference are decimal text: an optional sign, digits, at most one point, at most six digits before it, zeros at \
     the front not counted; spaces and tabs around it don't matter; anything else is unusable. Take each in whole millionths: the seventh decimal, if it is 5 or more, raises the sixth; \
     ignore the rest.",
    "Either is unusable if it is not above usable.above, or is above usable.up_to.",
    "index = (2000 x reading + reference) / (2 x reference), in whole numbers, the remainder dropped: thousandths. \
     An index above usable.index_up_to is unusable.",
    "The price ratio is the base one, or the one in the table that differs from the one asked for by at most a thousandth \
     of itself; any other is unusable. Only rows that have a rate at it count from here on.",
    "A row holds index_from <= index < index_below. The last row of the table holds its index_below too.",
    "An index in such a row is in-domain and takes its rate. Below the first of them it is below-domain, above the last \
     above-domain: there is no rate, unless settings.outside is nearest-row, which gives the first's or the last's, flagged.",
];

/// A rate table, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct RateTable {
    document: Document,
    converted_from: Option<ConvertedFrom>,
}

/// What a table was read from, where that is an older version.
#[derive(Debug, Clone, PartialEq)]
struct ConvertedFrom {
    schema: &'static str,
    digest: String,
}

/// As much of a foreign `schema` as is repeated.
const LONGEST_SCHEMA: usize = 40;

/// The number of a version of tables.
fn version(schema: &str) -> Option<&str> {
    schema.strip_prefix("stook/table/").filter(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
}

/// A document whose digest is that of its contents, and that digest; its own is left empty.
fn genuine<D: Serialize + DeserializeOwned>(text_given: &str, mut given: Value) -> Result<(D, String), TableError> {
    let document: D = serde_json::from_str(text_given).map_err(|error| unreadable(&error, text_given))?;
    // An object: it has a schema, and a digest, or it would not be a document.
    let written = match given.get_mut("digest").map(Value::take) {
        Some(Value::String(written)) => written,
        _ => String::new(),
    };
    given["digest"] = Value::String(String::new());
    let canonical = text(&given)?;
    let computed = digest(&canonical);
    if written != computed {
        return Err(TableError::Edited { written: written.chars().take(64).collect(), computed });
    }
    let mut again = serde_json::to_value(&document).map_err(|error| unreadable(&error, ""))?;
    again["digest"] = Value::String(String::new());
    if text(&again)? != canonical {
        return Err(TableError::Invalid {
            place: "the table".to_owned(),
            found: "not written by stook".to_owned(),
            expected: "fields stand in their order, none is left out, and an interval has no further ones".to_owned(),
        });
    }
    Ok((document, written))
}

impl RateTable {
    /// Makes a table of its parts.
    ///
    /// `schema`, `digest` and `lookup_rule` are filled in, whatever they hold, and the cautions that
    /// every table carries are put before those given.
    ///
    /// # Errors
    /// [`TableError::Invalid`] if the parts contradict each other: rows that don't follow one another or
    /// don't span the index, rates that rise with the index, are above the highest, negative or no
    /// multiple of what they are rounded to, gaps between rows with a rate, no base price ratio or
    /// several, intervals whose limits aren't what they say, numbers that aren't finite, no site-year.
    pub fn new(document: Document) -> Result<RateTable, TableError> {
        let standard = cautions::standard(&document);
        let mut document = document;
        document.schema = SCHEMA.to_owned();
        document.lookup_rule = LOOKUP_RULE.map(str::to_owned).to_vec();
        document.cautions.retain(|caution| !standard.contains(caution));
        document.cautions.splice(0..0, standard);
        for rate in document.rows.iter_mut().flat_map(|row| &mut row.rates).filter_map(|rate| rate.rate.as_mut()) {
            // −0 is 0, and must not be printed otherwise.
            *rate += 0.0;
        }
        document.digest = String::new();
        document.digest = digest(&text(&document)?);
        RateTable::checked(document)
    }

    /// Reads a table as [`write`](RateTable::write) wrote it. White space between values may differ. One of version 1 is brought
    /// to today's, without what that version did not carry: see [`converted_from`](RateTable::converted_from).
    ///
    /// # Errors
    /// [`TableError`] if the text is cut off, is no rate table, is of a newer version, has a field that is unknown, missing or
    /// of the wrong kind, was edited, or contradicts itself.
    pub fn read(text_given: &str) -> Result<RateTable, TableError> {
        let given: Value = serde_json::from_str(text_given).map_err(|error| unreadable(&error, text_given))?;
        match given.get("schema") {
            Some(Value::String(schema)) if schema == SCHEMA => {
                let (mut document, digest) = genuine::<Document>(text_given, given)?;
                document.digest = digest;
                RateTable::checked(document)
            }
            Some(Value::String(schema)) if schema == SCHEMA_1 => {
                let (document, digest) = genuine::<Document1>(text_given, given)?;
                let converted_from = Some(ConvertedFrom { schema: SCHEMA_1, digest });
                Ok(RateTable { converted_from, ..RateTable::new(document.into())? })
            }
            Some(Value::String(schema)) if version(schema).is_some() => {
                Err(TableError::OtherVersion { found: schema.chars().take(LONGEST_SCHEMA).collect() })
            }
            Some(other) => Err(TableError::OtherSchema { found: format!("\"schema\": {other}") }),
            None => Err(TableError::OtherSchema { found: "a document without \"schema\"".to_owned() }),
        }
    }

    fn checked(document: Document) -> Result<RateTable, TableError> {
        check::check(&document)?;
        let table = RateTable { document, converted_from: None };
        // A number that JSON can't hold (NaN, infinity) would be written as null and not read again.
        let again = serde_json::from_str::<Document>(&table.write());
        if again.as_ref().is_ok_and(|again| *again == table.document) {
            return Ok(table);
        }
        Err(TableError::Invalid {
            place: "the table".to_owned(),
            found: again.err().map_or("not what was written".to_owned(), |error| error.to_string()),
            expected: "every number must be finite".to_owned(),
        })
    }

    /// The document as JSON text: two spaces a level, a line feed at the end. The same table gives the
    /// same bytes, also after it was read.
    pub fn write(&self) -> String {
        // The only failure of serialising is a map with keys that aren't strings, and `new` or `read`
        // has serialised this very document.
        text(&self.document).unwrap_or_default()
    }

    /// All fields.
    pub fn document(&self) -> &Document {
        &self.document
    }

    /// SHA-256 of the document, as it was published, with an empty digest, in hexadecimal.
    pub fn digest(&self) -> &str {
        self.converted_from.as_ref().map_or(&self.document.digest, |from| &from.digest)
    }

    /// The older version that it was read from, such as `stook/table/1`: then it can't be derived anew.
    pub fn converted_from(&self) -> Option<&str> {
        self.converted_from.as_ref().map(|from| from.schema)
    }

    /// Position of the base price ratio.
    pub(super) fn base_price(&self) -> usize {
        self.document.prices.iter().position(|price| price.base).unwrap_or(0)
    }

    /// Positions of the first and last row that have a rate at a price ratio.
    pub(super) fn rows_with_a_rate(&self, price: usize) -> Option<(usize, usize)> {
        let has = |row: &super::Row| row.rates.get(price).is_some_and(|rate| rate.rate.is_some());
        let rows = &self.document.rows;
        Some((rows.iter().position(has)?, rows.iter().rposition(has)?))
    }

    pub(super) fn gives_nearest_row(&self) -> bool {
        self.document.settings.outside == Outside::NearestRow
    }

    /// The JSON schema (draft 2020-12) of every document of this kind, as JSON text.
    pub fn json_schema() -> String {
        let schema = schemars::schema_for!(Document);
        let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
        text.push('\n');
        text
    }
}

fn text(document: &impl Serialize) -> Result<String, TableError> {
    let mut text = serde_json::to_string_pretty(document).map_err(|error| unreadable(&error, ""))?;
    text.push('\n');
    Ok(text)
}

fn digest(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unreadable(error: &serde_json::Error, text: &str) -> TableError {
    let (line, column) = (error.line(), error.column());
    // A text cut off within a number is a wrong number at its very end.
    let at_end = text.lines().count() == line && text.lines().next_back().is_some_and(|last| last.len() <= column);
    if error.is_eof() || (error.is_syntax() && at_end && text.trim_start().starts_with('{')) {
        return TableError::Truncated { line };
    }
    let what = error.to_string();
    let place = format!(" at line {line} column {column}");
    let what = what.strip_suffix(&place).unwrap_or(&what).to_owned();
    TableError::Unreadable { line, column, what }
}
