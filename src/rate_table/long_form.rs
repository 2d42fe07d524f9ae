//! The table as CSV, one line a row of the index and price ratio; with its header it stands alone.

use super::document::{Document, Price, RowInterval};
use super::lookup::thousandths;
use super::table::{LOOKUP_RULE, RateTable};

/// The columns of a table in long form, one record a row of the index and price ratio.
pub const LONG_COLUMNS: [&str; 27] = [
    "table",
    "instrument",
    "index_from",
    "index_below",
    "index_below_included",
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
    "new_site_years_low",
    "new_site_years_high",
    "new_site_years_share",
    "new_site_years_method",
    "new_site_years_limits",
    "new_site_years_note",
    "site_years",
    "points",
    "plots",
    "row_note",
];

impl RateTable {
    /// The table as CSV: lines that begin with `#` say what it is, for which prices, where it was calibrated, how a reading becomes a
    /// rate and what to mind; then one header, and one line for every row and price ratio. An empty field means that there is none. The
    /// index has three decimals; rates, interval and range are in `rate_unit`. No field holds a line feed, so that a calculator may read
    /// it line by line.
    pub fn to_csv(&self) -> String {
        let document = self.document();
        let mut text: String =
            about(document).iter().map(|(key, value)| format!("# {key}: {}\n", one_line(value))).collect();
        text.push_str(&LONG_COLUMNS.join(","));
        text.push('\n');
        for (i, row) in document.rows.iter().enumerate() {
            let last = i + 1 == document.rows.len();
            for (price, cell) in document.prices.iter().zip(&row.rates) {
                let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
                let [interval_low, interval_high, level, method, limits, note] = range(cell.interval.as_ref());
                let [new_low, new_high, share, new_method, new_limits, new_note] = range(cell.new_site_years.as_ref());
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
                    number(cell.interval.as_ref().and_then(|noted| noted.interval.estimate)),
                    interval_low,
                    interval_high,
                    level,
                    method,
                    limits,
                    note,
                    new_low,
                    new_high,
                    share,
                    new_method,
                    new_limits,
                    new_note,
                    row.support.site_years.to_string(),
                    row.support.points.to_string(),
                    row.support.plots.to_string(),
                    row.note.clone().unwrap_or_default(),
                ];
                text.push_str(&fields.map(|field| quoted(&one_line(&field))).join(","));
                text.push('\n');
            }
        }
        text
    }
}

fn number(number: Option<f64>) -> String {
    number.map(|number| number.to_string()).unwrap_or_default()
}

/// Low, high, level, method, limits and note.
fn range(noted: Option<&RowInterval>) -> [String; 6] {
    let Some(RowInterval { interval, note }) = noted else { return Default::default() };
    [
        number(interval.low),
        number(interval.high),
        interval.level.to_string(),
        interval.method.clone(),
        interval.limits.name().to_owned(),
        note.clone().unwrap_or_default(),
    ]
}

/// What stands before the rows, by key.
fn about(document: &Document) -> Vec<(String, String)> {
    let settings = &document.settings;
    let rate = settings.rate;
    let unit = &document.rate_unit;
    let smallest =
        if rate.smallest > 0.0 { format!("; what would be less than {} is 0", rate.smallest) } else { String::new() };
    let varieties = if document.varieties.is_empty() { "not given".to_owned() } else { document.varieties.join(", ") };
    let ratios: Vec<String> = document.prices.iter().map(price_in_words).collect();
    let ratio_unit = document.prices.first().map_or("", |price| price.price_ratio_unit.as_str());
    let edge = |index: u32| thousandths(index.into());
    let fixed = [
        ("table", document.name.clone()),
        ("programme", document.title.clone()),
        ("crop", document.crop.clone()),
        ("instrument", document.instrument.name().to_owned()),
        ("varieties", varieties),
        ("growth stages", format!("{} to {}", document.stages.first, document.stages.last)),
        ("N-rich reference", document.reference.clone()),
        ("index", "reading divided by N-rich reference; 0.927 is 927 thousandths".to_owned()),
        ("rates", format!("{unit}; multiples of {}, at most {}{smallest}", rate.round_to, rate.highest)),
        ("yields", document.yield_unit.clone()),
        ("price ratios", format!("{} {ratio_unit}", ratios.join(", "))),
        ("calibrated index", format!("{} to {}", edge(document.domain.lowest), edge(document.domain.highest))),
        (
            "low and high",
            format!("interval of the return-maximising rate over site-years, {unit}, before limits and rounding"),
        ),
        (
            "new_site_years_low and _high",
            format!("range expected to hold the optima of that share of new site-years, {unit}"),
        ),
        ("usable.above", document.usable.above.to_string()),
        ("usable.up_to", document.usable.up_to.to_string()),
        ("usable.index_up_to", document.usable.index_up_to.to_string()),
        ("settings.outside", settings.outside.name().to_owned()),
    ];
    let mut about: Vec<(String, String)> = fixed.into_iter().map(|(key, value)| (key.to_owned(), value)).collect();
    about
        .extend(LOOKUP_RULE.iter().enumerate().map(|(i, step)| (format!("lookup rule {}", i + 1), (*step).to_owned())));
    about.extend(document.verdict.iter().map(|verdict| ("held-out site-years".to_owned(), verdict.in_words())));
    about.extend(document.cautions.iter().map(|caution| ("caution".to_owned(), caution.clone())));
    about.extend(document.warnings.iter().map(|warning| ("warning".to_owned(), warning.text.clone())));
    about.push(("made by".to_owned(), format!("stook {}; digest {}", document.version, document.digest)));
    about
}

fn price_in_words(price: &Price) -> String {
    let mut said = Vec::new();
    if price.base {
        said.push("base".to_owned());
    }
    if let Some(money) = &price.money {
        said.push(format!("{} {}", money.crop, money.crop_unit));
        said.push(format!("{} {}", money.nitrogen, money.nitrogen_unit));
    }
    let said = if said.is_empty() { String::new() } else { format!(" ({})", said.join("; ")) };
    format!("{}{said}", price.price_ratio)
}

/// A field of CSV as RFC 4180 has it; quoted too where spaces at its ends must stay.
pub(super) fn quoted(field: &str) -> String {
    let plain = !field.contains([',', '"', '\n', '\r', '#']) && field.trim() == field;
    if plain { field.to_owned() } else { format!("\"{}\"", field.replace('"', "\"\"")) }
}

/// Text on one line, for a comment or a field.
pub(super) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
