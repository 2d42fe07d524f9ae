//! The table as CSV, one line a row of the index and price ratio.

use super::lookup::thousandths;
use super::table::RateTable;

/// The columns of a table in long form, one record a row of the index and price ratio.
pub const LONG_COLUMNS: [&str; 21] = [
    "table",
    "instrument",
    "index_from",
    "index_to",
    "index_to_included",
    "price_ratio",
    "price_ratio_unit",
    "base_price_ratio",
    "rate",
    "rate_unit",
    "estimate",
    "low",
    "high",
    "level",
    "method",
    "limits",
    "interval_note",
    "site_years",
    "points",
    "plots",
    "row_note",
];

impl RateTable {
    /// The table as CSV: lines that begin with `#` say what it is, for which prices, where it was
    /// calibrated and what to mind; then one header, and one line for every row and price ratio. An
    /// empty field means that there is none. The index has three decimals; rates and interval are in
    /// `rate_unit`.
    pub fn to_csv(&self) -> String {
        let document = self.document();
        let prices: Vec<String> = document
            .prices
            .iter()
            .map(|price| format!("{}{}", price.price_ratio, if price.base { " (base)" } else { "" }))
            .collect();
        let unit = document.prices.first().map_or("", |price| price.price_ratio_unit.as_str());
        let domain = document.domain;
        let outside = if self.gives_nearest_row() { "the nearest row's rate, flagged" } else { "no rate" };
        let varieties =
            if document.varieties.is_empty() { "not given".to_owned() } else { document.varieties.join(", ") };
        let mut about = vec![
            format!("{}: rate table {}", document.title, document.name),
            format!("crop {}; instrument {}; varieties: {varieties}", document.crop, document.instrument.name()),
            format!("growth stages {} to {}", document.stages.first, document.stages.last),
            format!(
                "index: reading divided by N-rich reference; rates in {}; yields in {}",
                document.rate_unit, document.yield_unit
            ),
            format!("price ratios {} {unit}", prices.join(", ")),
            format!(
                "calibrated for index {} to {}; outside the rows that have a rate: {outside}",
                thousandths(domain.lowest.into()),
                thousandths(domain.highest.into())
            ),
            format!("N-rich reference: {}", document.reference),
        ];
        about.extend(document.cautions.iter().map(|caution| format!("caution: {caution}")));
        about.extend(document.warnings.iter().map(|warning| format!("warning: {}", warning.text)));
        about.push(format!("stook {}; digest {}", document.version, document.digest));
        let mut text: String = about.iter().map(|line| format!("# {}\n", one_line(line))).collect();
        text.push_str(&LONG_COLUMNS.join(","));
        text.push('\n');
        for (i, row) in document.rows.iter().enumerate() {
            let last = i + 1 == document.rows.len();
            for (price, cell) in document.prices.iter().zip(&row.rates) {
                let noted = cell.interval.as_ref();
                let interval = noted.map(|noted| &noted.interval);
                let number = |number: Option<f64>| number.map(|number| number.to_string()).unwrap_or_default();
                let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
                let fields = [
                    document.name.clone(),
                    document.instrument.name().to_owned(),
                    thousandths(row.index_from.into()),
                    thousandths(row.index_below.into()),
                    yes(last),
                    price.price_ratio.to_string(),
                    price.price_ratio_unit.clone(),
                    yes(price.base),
                    number(cell.rate),
                    document.rate_unit.clone(),
                    number(interval.and_then(|interval| interval.estimate)),
                    number(interval.and_then(|interval| interval.low)),
                    number(interval.and_then(|interval| interval.high)),
                    number(interval.map(|interval| interval.level)),
                    interval.map(|interval| interval.method.clone()).unwrap_or_default(),
                    interval.map(|interval| interval.limits.name().to_owned()).unwrap_or_default(),
                    noted.and_then(|noted| noted.note.clone()).unwrap_or_default(),
                    row.support.site_years.to_string(),
                    row.support.points.to_string(),
                    row.support.plots.to_string(),
                    row.note.clone().unwrap_or_default(),
                ];
                text.push_str(&fields.map(|field| quoted(&field)).join(","));
                text.push('\n');
            }
        }
        text
    }
}

/// A field of CSV as RFC 4180 has it; quoted too where spaces at its ends must stay.
pub(super) fn quoted(field: &str) -> String {
    let plain = !field.contains([',', '"', '\n', '\r', '#']) && field.trim() == field;
    if plain { field.to_owned() } else { format!("\"{}\"", field.replace('"', "\"\"")) }
}

/// Text for a comment line.
pub(super) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
