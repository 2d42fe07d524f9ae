//! Readings with their right answers, for whoever writes another calculator.

use super::Decimal;
use super::long_form::{one_line, quoted};
use super::lookup::{Asked, thousandths};
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
    /// empty index or rate means that there is none; the index has three decimals. They cover the middle
    /// of every row at every price ratio, every edge from both sides and at exactly half a thousandth,
    /// indices outside the rows, and readings that can't be used.
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
            for row in &document.rows {
                let middle = u64::from(row.index_from) + u64::from(row.index_below);
                lines.extend(self.vector("middle", reading(middle, reference, 0), reference, None));
            }
            let begins = document.rows.iter().map(|row| row.index_from);
            for edge in begins.chain([document.settings.index.highest]).map(u64::from) {
                let at = |halves: u64, millionths| reading(halves, reference, millionths);
                lines.extend(self.vector("edge", at(2 * edge, 0), reference, None));
                lines.extend(self.vector("edge-above", at(2 * edge + 2, 0), reference, None));
                lines.extend(self.vector("edge-half", at((2 * edge).saturating_sub(1), 0), reference, None));
                lines.extend(self.vector("edge-under-half", at((2 * edge).saturating_sub(1), 1), reference, None));
            }
            let limit = u64::from(document.usable.index_up_to);
            let highest = u64::from(document.settings.index.highest);
            lines.extend(self.vector(
                "far-below",
                reading(document.settings.index.lowest.into(), reference, 0),
                reference,
                None,
            ));
            lines.extend(self.vector("far-above", reading(highest + limit, reference, 0), reference, None));
            lines.extend(self.vector("highest-usable", reading(2 * limit, reference, 0), reference, None));
            lines.extend(self.vector("beyond-usable", reading(2 * limit + 1, reference, 0), reference, None));
        }

        let [reference, _] = references;
        for price in document.prices.iter().map(|price| price.price_ratio) {
            for row in &document.rows {
                let middle = u64::from(row.index_from) + u64::from(row.index_below);
                lines.extend(self.vector("price", reading(middle, reference, 0), reference, Some(price)));
            }
        }
        let good = reading(
            u64::from(document.settings.index.lowest) + u64::from(document.settings.index.highest),
            reference,
            0,
        );
        let dearest = document.prices.iter().map(|price| price.price_ratio).fold(0.0, f64::max);
        lines.extend(self.vector("price-not-listed", good, reference, Some(2.0 * dearest + 1.0)));
        let (good, reference) = (good.map(|good| good.to_string()).unwrap_or_default(), reference.to_string());
        for text in MALFORMED {
            lines.push(self.vector_of_text("malformed-reading", text, &reference, None));
            lines.push(self.vector_of_text("malformed-reference", &good, text, None));
        }
        let excess = format!("{}", document.usable.up_to + 1.0);
        lines.push(self.vector_of_text("above-usable", &excess, &reference, None));
        lines.push(self.vector_of_text("seventh-decimal", &format!("{}0000004999", padded(&good)), &reference, None));
        lines.push(self.vector_of_text("spaces", &format!(" {good} "), &reference, None));
        lines.push(self.vector_of_text("tabs", &format!("\t{good}\t"), &reference, None));
        lines.push(self.vector_of_text("leading-zeros", &format!("0000000{good}"), &reference, None));
        lines.push(self.vector_of_text("space-inside", &format!("{good} 0"), &reference, None));
        lines.push(String::new());
        lines.join("\n")
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

/// A number's text with all six decimals.
fn padded(number: &str) -> String {
    let (whole, decimals) = number.split_once('.').unwrap_or((number, ""));
    format!("{whole}.{decimals:0<6}")
}
