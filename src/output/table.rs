//! Rate tables for a reader. As JSON and CSV a table is its own document.

use serde::Serialize;

use super::envelope::Report;
use super::interval_words::interval_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::long::Long;
use super::numbers::{count, percent, plain, price_ratio};
use crate::files::export::Table;
use crate::rate_table::{Price, RateTable, Row, RowRate};
use crate::season::TableResult;

/// A rate table in words.
#[must_use]
pub fn table_text(table: &RateTable) -> String {
    let document = table.document();
    let unit = Some(document.rate_unit.as_str());
    let mut text = format!(
        "Rate table {}: {}, {}, {} to {}\n",
        document.name,
        document.crop,
        document.instrument.name(),
        document.stages.first,
        document.stages.last,
    );
    text += &paragraph("  ", &format!("Index = reading ÷ reading of the N-rich reference. {}", document.reference));
    if !document.varieties.is_empty() {
        text += &paragraph("  ", &format!("Varieties: {}.", document.varieties.join(", ")));
    }
    text += &format!("\n{}", rows(table));
    text += &paragraph(
        "  ",
        &format!(
            "Rates are multiples of {}, at most {}.",
            plain(document.settings.rate.round_to),
            quantity(&plain(document.settings.rate.highest), unit),
        ),
    );
    if let Some(note) = document.rows.iter().flat_map(|row| &row.rates).find_map(interval_note) {
        text += &paragraph("  ", &format!("Intervals: {note}."));
    }
    text.push('\n');
    for caution in &document.cautions {
        text += &paragraph("  - ", caution);
    }
    text + &format!("\n  Digest {}\n", table.digest())
}

fn interval_note(rate: &RowRate) -> Option<&str> {
    rate.interval.as_ref()?.note.as_deref()
}

fn rows(table: &RateTable) -> String {
    let document = table.document();
    let unit = Some(document.rate_unit.as_str());
    let base = document.prices.iter().position(|price| price.base).unwrap_or(0);
    let head = |price: &Price| format!("at ratio {}", price_ratio(price.price_ratio));
    let level = document
        .rows
        .iter()
        .flat_map(|row| &row.rates)
        .find_map(|rate| rate.interval.as_ref())
        .map(|interval| interval.interval.level);
    let mut heads = TextTable::new().words("index").numbers(with_unit("N rate", unit));
    heads = heads.words(level.map_or_else(|| "interval".to_owned(), |level| format!("{} interval", percent(level))));
    for price in document.prices.iter().filter(|price| !price.base) {
        heads = heads.numbers(head(price));
    }
    let mut text_table = heads.numbers("site-years").numbers("points").words("");
    for row in &document.rows {
        let mut cells = vec![index_range(row)];
        let at_base = row.rates.get(base);
        cells.push(rate(at_base));
        let interval = at_base.and_then(|rate| rate.interval.as_ref());
        cells.push(interval.map_or_else(String::new, |interval| interval_text(&interval.interval, 0)));
        cells.extend(
            row.rates.iter().enumerate().filter(|(position, _)| *position != base).map(|(_, found)| rate(Some(found))),
        );
        cells.push(row.support.site_years.to_string());
        cells.push(row.support.points.to_string());
        cells.push(row.note.clone().unwrap_or_default());
        text_table.row(cells);
    }
    let base_ratio = document.prices.get(base).map_or_else(String::new, |price| {
        let ratio = quantity(&price_ratio(price.price_ratio), Some(&price.price_ratio_unit));
        paragraph("  ", &format!("N rate and interval at a price ratio of {ratio}."))
    });
    text_table.render(2) + &base_ratio
}

/// The indices of a row, in words.
pub(super) fn index_range(row: &Row) -> String {
    let index = |thousandths: u32| format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
    format!("{} to {}", index(row.index_from), index(row.index_below))
}

/// A rate, or that there is none.
pub(super) fn rate(rate: Option<&RowRate>) -> String {
    rate.and_then(|rate| rate.rate).map_or_else(|| "no rate".to_owned(), plain)
}

/// A table that could not be derived.
#[derive(Clone, Debug, Serialize)]
pub struct NoTables {
    /// One entry a table.
    pub tables: Vec<MissingTable>,
}

/// Why there is no table.
#[derive(Clone, Debug, Serialize)]
pub struct MissingTable {
    /// Name.
    pub table: String,
    /// Why.
    pub reason: String,
}

impl NoTables {
    /// Those of the results that are no table.
    pub fn of<'a>(results: impl IntoIterator<Item = &'a TableResult>) -> Self {
        let missing = |result: &TableResult| {
            let reason = result.derived.table.as_ref().err()?.to_string();
            Some(MissingTable { table: result.specification.name.clone(), reason })
        };
        Self { tables: results.into_iter().filter_map(missing).collect() }
    }
}

impl Report for NoTables {
    const COMMAND: &'static str = "no-table";

    fn text(&self) -> String {
        let mut text = String::new();
        for missing in &self.tables {
            text += &paragraph("", &format!("No rate table {}: {}.", missing.table, missing.reason));
        }
        text
    }

    fn table(&self) -> Table {
        let mut long = Long::new(["table", "status", "reason"]);
        for missing in &self.tables {
            long.row([missing.table.as_str().into(), "no-table".into(), missing.reason.as_str().into()]);
        }
        long.finish()
    }
}

/// How many rows of a table have a rate, in words.
pub(super) fn rows_with_a_rate(table: &RateTable) -> String {
    let rows = &table.document().rows;
    let with = rows.iter().filter(|row| row.rates.iter().any(|rate| rate.rate.is_some())).count();
    format!("{with} of {}", count(rows.len(), "row"))
}
