//! A field calculator that knows a rate table by its CSV alone, written from the rule in the CSV's header, in doubles and text.
//! It shares no line with the crate; `tests/conformance/reader.py` is another.

use std::collections::BTreeMap;

use stook::rate_table::{Document, RateTable, Settings};
use stook::trial::Outside;

use crate::demo::table;

struct Calculator {
    header: BTreeMap<String, String>,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// Fields of one line.
fn fields(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut quoted = false;
    let mut characters = line.chars().peekable();
    while let Some(character) = characters.next() {
        let last = fields.last_mut().expect("a field");
        match character {
            '"' if quoted && characters.peek() == Some(&'"') => last.extend(characters.next()),
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(String::new()),
            other => last.push(other),
        }
    }
    fields
}

/// A number of millionths as a double that is whole.
fn millionths(text: &str) -> Option<f64> {
    let text = text.trim_matches([' ', '\t']);
    let (sign, digits) = match text.as_bytes().first()? {
        b'-' => (-1.0, &text[1..]),
        b'+' => (1.0, &text[1..]),
        _ => (1.0, text),
    };
    let allowed = digits.chars().all(|c| c.is_ascii_digit() || c == '.');
    if !allowed || digits.matches('.').count() > 1 || !digits.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let (whole, decimals) = digits.split_at(digits.find('.').unwrap_or(digits.len()));
    let whole = whole.trim_start_matches('0');
    if whole.len() > 6 {
        return None;
    }
    let mut size = 0.0;
    let places = whole.chars().chain(decimals.chars().skip(1).chain("000000".chars()).take(6));
    for digit in places {
        size = 10.0 * size + f64::from(digit.to_digit(10)?);
    }
    let seventh = decimals.chars().nth(7).and_then(|digit| digit.to_digit(10)).unwrap_or(0);
    size += if seventh >= 5 { 1.0 } else { 0.0 };
    (size < 1e12).then_some(sign * size)
}

impl Calculator {
    fn new(csv: &str) -> Self {
        let (about, body): (Vec<&str>, Vec<&str>) = csv.lines().partition(|line| line.starts_with('#'));
        let header = about.iter().filter_map(|line| line.trim_start_matches("# ").split_once(": "));
        let mut lines = body.iter().map(|line| fields(line));
        Self {
            header: header.map(|(key, value)| (key.to_owned(), value.to_owned())).collect(),
            columns: lines.next().expect("a line of columns"),
            rows: lines.collect(),
        }
    }

    fn field<'a>(&self, row: &'a [String], column: &str) -> &'a str {
        let position = self.columns.iter().position(|name| name == column).expect("the column");
        &row[position]
    }

    fn thousandths(&self, row: &[String], column: &str) -> f64 {
        self.field(row, column).replace('.', "").parse().expect("three decimals")
    }

    /// Index, rate, status, nearest row used.
    fn look_up(&self, reading: &str, reference: &str, price: &str) -> [String; 4] {
        let answer =
            |index: &str, rate: &str, status: &str, nearest: &str| [index, rate, status, nearest].map(str::to_owned);
        let limit = |key: &str| millionths(&self.header[key]).expect("a number");
        let usable = |text: &str| {
            millionths(text).filter(|value| *value > limit("usable.above") && *value <= limit("usable.up_to"))
        };
        let (Some(reading), Some(reference)) = (usable(reading), usable(reference)) else {
            return answer("", "", "unusable", "no");
        };
        // Whole numbers below 2^53 each, so that only the division rounds; its whole part is then settled by the remainder.
        let (above, below) = (2000.0 * reading + reference, 2.0 * reference);
        let index = (above - above % below) / below;
        let shown = format!("{:.3}", index / 1000.0);
        let ratio = self.rows.iter().map(|row| (self.field(row, "price_ratio"), row)).find(|(listed, row)| {
            let listed: f64 = listed.parse().expect("a number");
            match price.parse::<f64>() {
                Ok(asked) => (asked - listed).abs() <= listed / 1000.0,
                Err(_) => self.field(row, "base_price_ratio") == "yes",
            }
        });
        let highest: f64 = self.header["usable.index_up_to"].parse().expect("a number");
        let (Some((ratio, _)), true) = (ratio, index <= highest) else { return answer(&shown, "", "unusable", "no") };
        let rows: Vec<&Vec<String>> = self
            .rows
            .iter()
            .filter(|row| self.field(row, "price_ratio") == ratio && !self.field(row, "rate").is_empty())
            .collect();
        for row in &rows {
            let (from, end) = (self.thousandths(row, "index_from"), self.thousandths(row, "index_below"));
            let closed = self.field(row, "index_below_included") == "yes";
            if from <= index && (index < end || closed && index == end) {
                return answer(&shown, self.field(row, "rate"), "in-domain", "no");
            }
        }
        let below = index < self.thousandths(rows[0], "index_from");
        let status = if below { "below-domain" } else { "above-domain" };
        if self.header["settings.outside"] == "no-rate" {
            return answer(&shown, "", status, "no");
        }
        let nearest = if below { rows[0] } else { rows[rows.len() - 1] };
        answer(&shown, self.field(nearest, "rate"), status, "yes")
    }
}

fn assert_every_vector_passes(table: &RateTable) {
    let calculator = Calculator::new(&table.to_csv());
    let vectors = table.conformance_vectors();
    let mut cases: BTreeMap<String, usize> = BTreeMap::new();
    for vector in vectors.lines().filter(|line| !line.starts_with('#')).skip(1).map(fields) {
        let found = calculator.look_up(&vector[1], &vector[2], &vector[3]);
        assert_eq!(found.as_slice(), &vector[4..], "{vector:?}");
        *cases.entry(vector[0].clone()).or_default() += 1;
        *cases.entry(vector[6].clone()).or_default() += 1;
    }
    let document = table.document();
    let (rows, prices) = (document.rows.len(), document.prices.len());
    // Two references at the base, and one at each price ratio.
    let passes = 2 + prices;
    assert_eq!(cases["middle"], rows * passes);
    for case in ["edge", "edge-above", "edge-below", "edge-half", "edge-under-half"] {
        assert_eq!(cases[case], (rows + 1) * passes, "{case}");
    }
    for case in ["far-below", "far-above", "beyond-usable"] {
        assert_eq!(cases[case], passes, "{case}");
    }
    assert!(cases["malformed-reading"] > 8 && cases["malformed-reference"] > 8, "{cases:?}");
    assert_eq!(cases["price-as-typed"], prices);
    for status in ["in-domain", "below-domain", "above-domain", "unusable"] {
        assert!(cases[status] > 10, "{status}: {cases:?}");
    }
}

#[test]
fn a_calculator_that_has_the_csv_alone_passes_every_conformance_vector() {
    for name in ["leaf-jointing", "canopy-jointing"] {
        assert_every_vector_passes(table(name));
        let nearest = RateTable::new(Document {
            settings: Settings { outside: Outside::NearestRow, ..table(name).document().settings.clone() },
            ..table(name).document().clone()
        });
        assert_every_vector_passes(&nearest.expect("a valid table"));
    }
}
