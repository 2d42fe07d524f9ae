//! Rate tables for a reader. As JSON and CSV a table is its own document.

use serde::Serialize;

use super::envelope::Report;
use super::interval_words::interval_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::long::Long;
use super::numbers::{count, percent, plain, price_ratio};
use crate::files::export::Table;
use crate::rate_table::{Document, Price, RateTable, Row, RowRate};
use crate::season::TableResult;

/// A rate table in words.
#[must_use]
pub fn table_text(table: &RateTable) -> String {
    let document = table.document();
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
    for line in about_rates(document) {
        text += &paragraph("  ", &line);
    }
    text.push('\n');
    for caution in &document.cautions {
        text += &paragraph("  - ", caution);
    }
    text + &format!("\n  Digest {}\n", table.digest())
}

/// A table at other prices, with the rates that it had.
#[must_use]
pub fn repriced_text(before: &RateTable, after: &RateTable) -> String {
    let [old, new] = [before.document(), after.document()];
    let base = |document: &Document| document.prices.iter().position(|price| price.base).unwrap_or(0);
    let ratio = |document: &Document| {
        document
            .prices
            .get(base(document))
            .map_or_else(String::new, |price| quantity(&price_ratio(price.price_ratio), Some(&price.price_ratio_unit)))
    };
    let mut table = TextTable::new().words("index").numbers("before").numbers("now").numbers("change");
    // Rows keep their edges: only prices changed.
    for (row, was) in new.rows.iter().zip(&old.rows) {
        let [was_at, now_at] = [was.rates.get(base(old)), row.rates.get(base(new))];
        let change =
            was_at.and_then(|rate| rate.rate).zip(now_at.and_then(|rate| rate.rate)).map(|(was, now)| now - was);
        let change =
            change.map_or_else(
                String::new,
                |change| {
                    if change > 0.0 { format!("+{}", plain(change)) } else { plain(change) }
                },
            );
        table.row(vec![index_range(row), rate(was_at), rate(now_at), change]);
    }
    let mut text =
        paragraph("", &format!("Repriced: {} → {}. The trials were not read again.", ratio(old), ratio(new)));
    let [was, now] = [&old.settings.relation_taken, &new.settings.relation_taken];
    if was != now {
        text += &paragraph("  ", &format!("At these prices validation takes another relation: {was} → {now}."));
    }
    text += &format!("\n{}", table.render(2));
    text += &format!("  N rates in {}; the table before: digest {}\n\n", new.rate_unit, before.digest());
    text + &table_text(after)
}

/// What a reader of the rates must know.
pub(crate) fn about_rates(document: &Document) -> Vec<String> {
    let unit = Some(document.rate_unit.as_str());
    let rule = document.settings.rate;
    let smallest = match rule.smallest {
        none if none <= 0.0 => String::new(),
        smallest => {
            format!(", and 0 where less than {} would do: no pass is worth less", quantity(&plain(smallest), unit))
        }
    };
    let highest = quantity(&plain(rule.highest), unit);
    let mut lines = vec![format!("Rates are multiples of {}, at most {highest}{smallest}.", plain(rule.round_to))];
    let rates = || document.rows.iter().flat_map(|row| &row.rates);
    if let Some(interval) = rates().find_map(|rate| rate.interval.as_ref()) {
        let note = interval.note.as_ref().map_or_else(String::new, |note| format!(" ({note})"));
        let level = percent(interval.interval.level);
        lines.push(format!(
            "{level} interval: of the return-maximising rate at the middle of the row over site-years, before limits and rounding{note}."
        ));
    }
    if let Some(range) = rates().find_map(|rate| rate.new_site_years.as_ref()) {
        let note = range.note.as_ref().map_or_else(String::new, |note| format!(" ({note})"));
        lines.push(format!(
            "New site-years: where {} of their optima are expected{note}.",
            percent(range.interval.level)
        ));
    }
    if let Some(verdict) = &document.verdict {
        lines.push(format!("Does reading the crop pay? Held-out site-years say: {}.", verdict.in_words()));
    }
    lines
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
    let share = document
        .rows
        .iter()
        .flat_map(|row| &row.rates)
        .find_map(|rate| rate.new_site_years.as_ref())
        .map_or_else(String::new, |range| format!("{} of new site-years", percent(range.interval.level)));
    heads = heads.words(share);
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
        let range = at_base.and_then(|rate| rate.new_site_years.as_ref());
        cells.push(range.map_or_else(String::new, |range| interval_text(&range.interval, 0)));
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
        let of_prices = price.money.as_ref().map_or_else(String::new, |money| {
            let (crop, nitrogen) = (plain(money.crop), plain(money.nitrogen));
            format!(" ({}, {crop} {}; {nitrogen} {})", document.crop, money.crop_unit, money.nitrogen_unit)
        });
        paragraph("  ", &format!("N rate and interval at a price ratio of {ratio}{of_prices}."))
    });
    text_table.render(2) + &base_ratio
}

/// The indices of a row, in words.
pub(crate) fn index_range(row: &Row) -> String {
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
