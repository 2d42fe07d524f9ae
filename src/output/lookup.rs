//! The rate for one reading and its reference.

use serde::Serialize;

use super::envelope::Report;
use super::interval_words::{interval_head, interval_text};
use super::layout::{paragraph, quantity};
use super::long::{Long, number, text};
use super::numbers::{fixed, percent, plain, price_ratio};
use crate::files::export::Table;
use crate::rate_table::{Lookup, RateTable};

/// Decimals of an index, as in a rate table.
const INDEX_DECIMALS: usize = 3;

/// The answer to one lookup, with what was asked.
#[derive(Clone, Debug, Serialize)]
pub struct LookupAnswer {
    /// The reading, as typed.
    pub reading: String,
    /// The reference, as typed.
    pub reference: String,
    /// The answer.
    #[serde(flatten)]
    pub lookup: Lookup,
    /// Lowest index of the row used.
    pub row_from: Option<f64>,
    /// Index at which that row ends.
    pub row_below: Option<f64>,
    /// First line of a reader's text: which table it was.
    #[serde(skip)]
    table_line: String,
}

impl LookupAnswer {
    /// The answer of a table.
    #[must_use]
    pub fn of(table: &RateTable, reading: &str, reference: &str, lookup: Lookup) -> Self {
        let document = table.document();
        let row = lookup.row.and_then(|row| document.rows.get(row));
        let thousandths = |index: u32| f64::from(index) / 1000.0;
        Self {
            reading: reading.to_owned(),
            reference: reference.to_owned(),
            row_from: row.map(|row| thousandths(row.index_from)),
            row_below: row.map(|row| thousandths(row.index_below)),
            table_line: format!(
                "Table {} ({}; {}, {}, {} to {})",
                document.name,
                document.title,
                document.crop,
                document.instrument.name(),
                document.stages.first,
                document.stages.last,
            ),
            lookup,
        }
    }
}

impl Report for LookupAnswer {
    const COMMAND: &'static str = "lookup";

    fn text(&self) -> String {
        let lookup = &self.lookup;
        let unit = Some(lookup.rate_unit.as_str());
        let mut text = format!("{}\n\n", self.table_line);
        let index = lookup.index.map_or_else(|| "none".to_owned(), |index| fixed(index, INDEX_DECIMALS));
        text += &format!("  Index       {index}  (reading {} ÷ reference {})\n", self.reading, self.reference);
        let rate = lookup.rate.map_or_else(|| "none".to_owned(), |rate| quantity(&plain(rate), unit));
        text += &format!("  N rate      {rate}\n");
        text += &format!("  Status      {}\n", lookup.status.name().replace('-', " "));
        if let (Some(from), Some(below)) = (self.row_from, self.row_below) {
            let nearest = if lookup.nearest_row_used { "  (the nearest row)" } else { "" };
            text += &format!("  Row         index {from:.3} to {below:.3}{nearest}\n");
        }
        if let Some(interval) = &lookup.interval {
            let note = interval.note.as_ref().map_or_else(String::new, |note| format!("; {note}"));
            let words = quantity(&interval_text(&interval.interval, 0), unit);
            let level = interval_head(Some(interval.interval.level));
            text += &paragraph("  Interval    ", &format!("{words}, {level}{note}"));
        }
        if let Some(range) = &lookup.new_site_years {
            let note = range.note.as_ref().map_or_else(String::new, |note| format!("; {note}"));
            let words = quantity(&interval_text(&range.interval, 0), unit);
            let share = percent(range.interval.level);
            text += &paragraph(
                "  New sites   ",
                &format!("{words}: where {share} of new site-years' optima are expected{note}"),
            );
        }
        if let Some(ratio) = lookup.price_ratio {
            text += &format!("  Price ratio {}\n", quantity(&price_ratio(ratio), lookup.price_ratio_unit.as_deref()));
        }
        if let Some(reason) = &lookup.reason {
            text += &format!("\n{}", paragraph("  ", &format!("Why: {reason}.")));
        }
        text.push('\n');
        for caution in &lookup.cautions {
            text += &paragraph("  - ", caution);
        }
        text + &format!("\n  Table digest {}\n", lookup.table_digest)
    }

    fn table(&self) -> Table {
        let lookup = &self.lookup;
        let interval = lookup.interval.as_ref().map(|interval| &interval.interval);
        let range = lookup.new_site_years.as_ref().map(|range| &range.interval);
        let mut long = Long::new([
            "table",
            "reading",
            "reference",
            "index",
            "rate",
            "rate_unit",
            "status",
            "reason",
            "row",
            "row_from",
            "row_below",
            "low",
            "high",
            "level",
            "limits",
            "new_site_years_low",
            "new_site_years_high",
            "new_site_years_share",
            "nearest_row_used",
            "price_ratio",
            "price_ratio_unit",
            "table_digest",
        ]);
        long.row([
            lookup.table.as_str().into(),
            self.reading.as_str().into(),
            self.reference.as_str().into(),
            number(lookup.index),
            number(lookup.rate),
            lookup.rate_unit.as_str().into(),
            lookup.status.name().into(),
            text(lookup.reason.as_deref()),
            lookup.row.into(),
            number(self.row_from),
            number(self.row_below),
            number(interval.and_then(|interval| interval.low)),
            number(interval.and_then(|interval| interval.high)),
            number(interval.map(|interval| interval.level)),
            text(interval.map(|interval| interval.limits.name())),
            number(range.and_then(|range| range.low)),
            number(range.and_then(|range| range.high)),
            number(range.map(|range| range.level)),
            if lookup.nearest_row_used { "yes" } else { "no" }.into(),
            number(lookup.price_ratio),
            text(lookup.price_ratio_unit.as_deref()),
            lookup.table_digest.as_str().into(),
        ]);
        long.finish()
    }
}
