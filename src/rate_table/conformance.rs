//! Readings with their right answers, for whoever writes another calculator.

use super::Decimal;
use super::long_form::{one_line, quoted};
use super::lookup::{Asked, PRICE_MATCH, thousandths};
use super::table::{LOOKUP_RULE, RateTable};
use crate::trial::Instrument;

const HEADER: &str = "case,reading,reference,price_ratio,index,rate,status,nearest_row_used";

/// Text that is no usable reading.
const MALFORMED: [&str; 11] = ["", "abc", "-3", "0", "1e999", "NaN", "inf", "55,1", "1.2.3", "1000000", "0.0000004"];

impl RateTable {
    /// Conformance vectors as CSV: readings and references as typed, and what must come out.
    ///
    /// Lines that begin with `#` give the lookup rule. The header is `case, reading, reference,
    /// price_ratio, index, rate, status, nearest_row_used`: an empty price ratio asks for the base; an
    /// empty index or rate means that there is none; the index has three decimals. At every price ratio they
    /// cover the middle of every row, every edge from both sides and at exactly half a thousandth, and
    /// indices outside the rows; then price ratios that aren't listed, and readings and references that can't be used.
    pub fn conformance_vectors(&self) -> String {
        let document = self.document();
        let mut lines = vec![
            format!("# conformance vectors of the rate table {}", one_line(&document.name)),
            format!("# digest {}", document.digest),
        ];
        lines.extend(LOOKUP_RULE.iter().enumerate().map(|(i, step)| format!("# {}. {step}", i + 1)));
        lines.push(HEADER.to_owned());
        let references = references(document.instrument);
        for reference in references {
            lines.extend(self.vectors_of_rows(reference, None));
        }
        let [reference, _] = references;
        for price in &document.prices {
            lines.extend(self.vectors_of_rows(reference, Some(price.price_ratio)));
        }
        lines.extend(self.vectors_of_input(reference));
        lines.push(String::new());
        lines.join("\n")
    }

    /// Every row, every edge, and what lies beyond the last ones.
    fn vectors_of_rows(&self, reference: Decimal, price: Option<f64>) -> Vec<String> {
        let document = self.document();
        let at =
            |case: &str, halves: u64, less: i64| self.vector(case, reading(halves, reference, less), reference, price);
        let mut lines = Vec::new();
        for row in &document.rows {
            lines.extend(at("middle", u64::from(row.index_from) + u64::from(row.index_below), 0));
        }
        let rows = document.settings.index;
        let begins = document.rows.iter().map(|row| row.index_from);
        for edge in begins.chain([rows.highest]).map(u64::from) {
            let half_below = (2 * edge).saturating_sub(1);
            lines.extend(at("edge", 2 * edge, 0));
            lines.extend(at("edge-above", 2 * edge + 2, 0));
            lines.extend(at("edge-below", (2 * edge).saturating_sub(2), 0));
            lines.extend(at("edge-half", half_below, 0));
            lines.extend(at("edge-under-half", half_below, 1));
        }
        let (highest, limit) = (u64::from(rows.highest), u64::from(document.usable.index_up_to));
        lines.extend(at("far-below", rows.lowest.into(), 0));
        lines.extend(at("far-above", highest + limit, 0));
        lines.extend(at("highest-usable", 2 * limit, 0));
        lines.extend(at("beyond-usable", 2 * limit + 1, 0));
        lines
    }

    /// Price ratios that the table has and has not, and text that is and isn't usable.
    fn vectors_of_input(&self, reference: Decimal) -> Vec<String> {
        let document = self.document();
        let rows = document.settings.index;
        let good = reading(u64::from(rows.lowest) + u64::from(rows.highest), reference, 0);
        let (good, reference) = (good.map(|good| good.to_string()).unwrap_or_default(), reference.to_string());
        let priced = |case: &str, price: f64| self.vector_of_text(case, &good, &reference, Some(price));
        let mut lines = Vec::new();
        for price in document.prices.iter().map(|price| price.price_ratio) {
            lines.push(priced("price-as-typed", price * (1.0 + PRICE_MATCH / 2.0)));
            lines.push(priced("price-too-far", price * (1.0 + 2.0 * PRICE_MATCH)));
        }
        let dearest = document.prices.iter().map(|price| price.price_ratio).fold(0.0, f64::max);
        lines.push(priced("price-not-listed", 2.0 * dearest + 1.0));
        lines.push(priced("price-below-zero", -1.0));
        let of_text = |case: &str, reading: &str, reference: &str| self.vector_of_text(case, reading, reference, None);
        for text in MALFORMED {
            lines.push(of_text("malformed-reading", text, &reference));
            lines.push(of_text("malformed-reference", &good, text));
        }
        let usable = &document.usable;
        for (case, limit) in
            [("above-usable", usable.up_to + 1.0), ("at-usable", usable.up_to), ("not-above", usable.above)]
        {
            lines.push(of_text(case, &limit.to_string(), &reference));
            lines.push(of_text(case, &good, &limit.to_string()));
        }
        lines.push(of_text("swapped", &reference, &of_half(&reference)));
        lines.push(of_text("seventh-decimal", &format!("{}0000004999", padded(&good)), &reference));
        lines.push(of_text("spaces", &format!(" {good} "), &reference));
        lines.push(of_text("tabs", &format!("\t{good}\t"), &reference));
        lines.push(of_text("leading-zeros", &format!("0000000{good}"), &reference));
        lines.push(of_text("plus-sign", &format!("+{good}"), &reference));
        lines.push(of_text("space-inside", &format!("{good} 0"), &reference));
        lines
    }

    fn vector(&self, case: &str, reading: Option<Decimal>, reference: Decimal, price: Option<f64>) -> Option<String> {
        Some(self.vector_of_text(case, &reading?.to_string(), &reference.to_string(), price))
    }

    fn vector_of_text(&self, case: &str, reading: &str, reference: &str, price_ratio: Option<f64>) -> String {
        let found = self.lookup(reading, reference, &Asked { price_ratio, ..Asked::default() });
        let index = found.index.map(|index| thousandths((index * 1000.0).round() as u64));
        let text = |number: Option<f64>| number.map(|number| number.to_string()).unwrap_or_default();
        [
            case,
            &quoted(reading),
            &quoted(reference),
            &text(price_ratio),
            &index.unwrap_or_default(),
            &text(found.rate),
            found.status.name(),
            if found.nearest_row_used { "yes" } else { "no" },
        ]
        .join(",")
    }
}

/// A round reference and one as it is read, both in even multiples of 1000 millionths, so that every
/// half thousandth of them is a whole number of millionths.
fn references(instrument: Instrument) -> [Decimal; 2] {
    match instrument {
        Instrument::CanopyNdvi => [Decimal::hundredths(80), Decimal::hundredths(78)],
        Instrument::LeafChlorophyll => [Decimal::hundredths(50_00), Decimal::hundredths(58_00)],
    }
}

/// The reading that is `halves` half thousandths of the reference, less some millionths.
fn reading(halves: u64, reference: Decimal, less: i64) -> Option<Decimal> {
    let exact = i64::try_from(halves).ok()?.checked_mul(reference.millionths())?;
    Decimal::from_millionths(exact / 2000 - less)
}

/// Half of a number.
fn of_half(number: &str) -> String {
    number
        .parse()
        .ok()
        .and_then(|number: Decimal| Decimal::from_millionths(number.millionths() / 2))
        .map_or_else(String::new, |half| half.to_string())
}

/// A number's text with all six decimals.
fn padded(number: &str) -> String {
    let (whole, decimals) = number.split_once('.').unwrap_or((number, ""));
    format!("{whole}.{decimals:0<6}")
}
