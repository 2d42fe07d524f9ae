//! What a rate card says, in the words of who reads it beside a field.

use std::collections::BTreeSet;

use crate::rate_table::{Asked, Document, Price, RateTable, Row, RowInterval};
use crate::trial::{Instrument, Outside};

/// A list of places longer than this is summed up.
const LONGEST_CALIBRATED: usize = 220;
/// A list of varieties longer than this is summed up.
const LONGEST_VARIETIES: usize = 160;
/// Digits of the digest that tell one table from another.
const DIGEST_SHOWN: usize = 12;

/// Everything on a card, in order.
#[derive(Debug)]
pub(super) struct CardWords {
    pub title: String,
    pub subtitle: String,
    /// What it is for, by name.
    pub facts: Vec<(&'static str, String)>,
    /// What to do, step by step.
    pub steps: Vec<String>,
    /// Heads of the columns after the index: those in every row.
    pub rate_head: String,
    pub interval_head: Option<String>,
    pub new_site_years_head: Option<String>,
    pub other_price_heads: Vec<String>,
    pub rows: Vec<RowWords>,
    /// What the small numbers are, and what is not known of them.
    pub legend: Vec<String>,
    pub cautions: Vec<String>,
    pub footer: String,
}

/// A row of the card.
#[derive(Debug)]
pub(super) struct RowWords {
    pub index: String,
    pub rate: String,
    /// The rate as a share of the largest single rate.
    pub share: f64,
    pub interval: String,
    pub new_site_years: String,
    pub other_prices: Vec<String>,
    pub support: String,
}

impl CardWords {
    pub(super) fn of(table: &RateTable) -> CardWords {
        let document = table.document();
        let base = document.prices.iter().position(|price| price.base).unwrap_or(0);
        let others: Vec<usize> = (0..document.prices.len()).filter(|position| *position != base).collect();
        let unit = &document.rate_unit;
        let ratio_unit = document.prices.get(base).map_or("", |price| price.price_ratio_unit.as_str());
        let of_rows = |pick: fn(&crate::rate_table::RowRate) -> Option<&RowInterval>| {
            document.rows.iter().filter_map(|row| pick(row.rates.get(base)?)).next()
        };
        let (interval, new_range) =
            (of_rows(|rate| rate.interval.as_ref()), of_rows(|rate| rate.new_site_years.as_ref()));
        let percent = |noted: &RowInterval| format!("{} %", number((noted.interval.level * 1000.0).round() / 10.0));
        CardWords {
            title: format!("Topdress N rates for {}", document.crop),
            subtitle: format!("{} \u{2022} table {}", document.title, document.name),
            facts: facts(document, base),
            steps: steps(table, base),
            rate_head: format!("N rate, {unit}"),
            interval_head: interval.map(|noted| format!("{} interval", percent(noted))),
            new_site_years_head: new_range.map(|noted| format!("{} of new site-years", percent(noted))),
            other_price_heads: others.iter().filter_map(|position| document.prices.get(*position)).map(ratio).collect(),
            rows: document.rows.iter().map(|row| row_words(document, row, base, &others)).collect(),
            legend: legend(document, interval, new_range, ratio_unit, !others.is_empty()),
            cautions: cautions(document),
            footer: format!(
                "stook {} \u{2022} digest {} \u{2022} {} files read",
                document.version,
                table.digest().get(..DIGEST_SHOWN).unwrap_or_default(),
                document.inputs.len(),
            ),
        }
    }
}

fn facts(document: &Document, base: usize) -> Vec<(&'static str, String)> {
    let rule = document.settings.rate;
    let unit = &document.rate_unit;
    let varieties = match document.varieties.join(", ") {
        none if none.is_empty() => "the calibration names none".to_owned(),
        long if long.chars().count() > LONGEST_VARIETIES => {
            format!("{} varieties, which the table file names", document.varieties.len())
        }
        all => all,
    };
    let smallest = if rule.smallest > 0.0 {
        format!("; less than {} {unit} is not worth a pass", number(rule.smallest))
    } else {
        String::new()
    };
    let mut facts = vec![
        ("Instrument", instrument(document.instrument).to_owned()),
        ("Growth stage", format!("{} to {}", document.stages.first, document.stages.last)),
        ("Varieties", varieties),
    ];
    if let Some(price) = document.prices.get(base) {
        let ratio = format!("price ratio {} {}", ratio(price), price.price_ratio_unit);
        let of_prices = price.money.as_ref().map(|prices| {
            format!(
                "{} at {} {}, N at {} {}: ",
                document.crop,
                money(prices.crop),
                prices.crop_unit,
                money(prices.nitrogen),
                prices.nitrogen_unit
            )
        });
        facts.push(("Prices", of_prices.unwrap_or_default() + &ratio));
    }
    facts.push((
        "Rates",
        format!(
            "multiples of {} {unit}, at most {} {unit} at once{smallest}",
            number(rule.round_to),
            number(rule.highest)
        ),
    ));
    facts
}

fn instrument(instrument: Instrument) -> &'static str {
    match instrument {
        Instrument::CanopyNdvi => "canopy sensor that shows NDVI",
        Instrument::LeafChlorophyll => "leaf chlorophyll meter",
    }
}

/// A reference that such an instrument may show.
fn shown_reference(instrument: Instrument) -> (u64, usize) {
    match instrument {
        Instrument::CanopyNdvi => (80, 2),
        Instrument::LeafChlorophyll => (550, 1),
    }
}

/// What to do, the last step with an example that the table itself answers.
fn steps(table: &RateTable, base: usize) -> Vec<String> {
    let document = table.document();
    let mut steps = vec![
        format!("Reference. {}", document.reference),
        "Index = mean reading of the stand \u{f7} mean reading of the reference, to three decimals.".to_owned(),
    ];
    let with_rate: Vec<&Row> =
        document.rows.iter().filter(|row| row.rates.get(base).is_some_and(|rate| rate.rate.is_some())).collect();
    let example = with_rate.get(with_rate.len() / 2).and_then(|row| example(table, row));
    let read = "Read the N rate beside the row that holds the index.";
    steps.push(example.map_or_else(|| read.to_owned(), |example| format!("{read} {example}")));
    let (from, below) =
        (with_rate.first().map_or(0, |row| row.index_from), with_rate.last().map_or(0, |row| row.index_below));
    let last = document.rows.last().is_some_and(|row| row.index_below == below);
    let edge = if last { format!("above {}", index(below)) } else { format!("at {} or above", index(below)) };
    let what = match document.settings.outside {
        Outside::NoRate => "this card gives no rate. Do not guess one",
        Outside::NearestRow => "take the nearest row\u{2019}s rate, and doubt it: the trials did not go there",
    };
    steps.push(format!("Where the index is below {} or {edge}, {what}.", index(from)));
    steps
}

/// A reading in the middle of a row, and what the table answers.
fn example(table: &RateTable, row: &Row) -> Option<String> {
    let document = table.document();
    let (reference, decimals) = shown_reference(document.instrument);
    let middle = u64::from(row.index_from + row.index_below) / 2;
    let reading = (middle * reference + 500) / 1000;
    let typed = |value: u64| {
        let scale = 10_u64.pow(decimals as u32);
        format!("{}.{:0decimals$}", value / scale, value % scale)
    };
    let (reading, reference) = (typed(reading), typed(reference));
    let found = table.lookup(&reading, &reference, &Asked::default());
    let (rate, found_row) = (found.rate?, document.rows.get(found.row?)?);
    Some(format!(
        "Example: {reading} \u{f7} {reference} = {:.3}, which lies in {}: {} {}.",
        found.index?,
        range_of(document, found_row),
        number(rate),
        document.rate_unit,
    ))
}

fn row_words(document: &Document, row: &Row, base: usize, others: &[usize]) -> RowWords {
    let at_base = row.rates.get(base);
    let rate = at_base.and_then(|rate| rate.rate);
    let highest = document.settings.rate.highest;
    RowWords {
        index: range_of(document, row),
        rate: rate.map_or_else(|| "no rate".to_owned(), number),
        share: rate.filter(|_| highest > 0.0).map_or(0.0, |rate| (rate / highest).clamp(0.0, 1.0)),
        interval: limits(at_base.and_then(|rate| rate.interval.as_ref())),
        new_site_years: limits(at_base.and_then(|rate| rate.new_site_years.as_ref())),
        other_prices: others
            .iter()
            .map(|position| {
                row.rates.get(*position).and_then(|rate| rate.rate).map_or_else(|| "\u{2013}".to_owned(), number)
            })
            .collect(),
        support: format!("{}, {}", row.support.points, row.support.site_years),
    }
}

/// The indices of a row as they are read: a row ends a thousandth below the next.
fn range_of(document: &Document, row: &Row) -> String {
    let last = document.rows.last().is_some_and(|last| last.index_below == row.index_below);
    let end = if last { row.index_below } else { row.index_below - 1 };
    format!("{} to {}", index(row.index_from), index(end))
}

fn index(thousandths: u32) -> String {
    format!("{}.{:03}", thousandths / 1000, thousandths % 1000)
}

/// Limits in whole rate units; no rate is below 0.
fn limits(noted: Option<&RowInterval>) -> String {
    let Some(noted) = noted else { return "\u{2013}".to_owned() };
    let whole = |value: f64| format!("{:.0}", value.max(0.0));
    match (noted.interval.low.map(whole), noted.interval.high.map(whole)) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("{low} or more"),
        (None, Some(high)) => format!("{high} or less"),
        (None, None) => "\u{2013}".to_owned(),
    }
}

fn legend(
    document: &Document,
    interval: Option<&RowInterval>,
    new_range: Option<&RowInterval>,
    ratio_unit: &str,
    other_prices: bool,
) -> Vec<String> {
    let percent = |noted: &RowInterval| number((noted.interval.level * 1000.0).round() / 10.0);
    let mut legend = Vec::new();
    let note = |noted: &RowInterval| noted.note.as_ref().map_or_else(String::new, |note| format!(" ({note})"));
    if let Some(noted) = interval {
        legend.push(format!(
            "{} % interval: where the rate that returns most lies at the middle of the row, on average over site-years{}.",
            percent(noted),
            note(noted)
        ));
    }
    if let Some(noted) = new_range {
        let share = percent(noted);
        legend.push(format!(
            "{share} % of new site-years: where the best rates of {share} in 100 site-years not yet seen are expected to lie{}.",
            note(noted)
        ));
    }
    if other_prices {
        legend.push(format!(
            "At ratio: the N rate where a unit of N costs so many units of the crop ({ratio_unit}) instead."
        ));
    }
    legend.push(
        "Points, site-years: how many points of the calibration lie in the row, and from how many site-years."
            .to_owned(),
    );
    if let Some(verdict) = &document.verdict {
        legend.push(format!("Does reading the crop pay? {}.", capital(&verdict.in_words())));
    }
    legend
}

/// The table's cautions; a long list of places is summed up.
fn cautions(document: &Document) -> Vec<String> {
    let sites: BTreeSet<&str> = document.site_years.iter().map(|one| one.site.as_str()).collect();
    let site_years: BTreeSet<(&str, i32)> =
        document.site_years.iter().map(|one| (one.site.as_str(), one.harvest_year)).collect();
    let years = || document.site_years.iter().map(|one| one.harvest_year);
    let summed_up = || {
        format!(
            "Calibrated on {} site-years ({} sites, harvests {} to {}; the table file names them), {}, index {} to {}.",
            site_years.len(),
            sites.len(),
            years().min().unwrap_or_default(),
            years().max().unwrap_or_default(),
            document.crop,
            index(document.domain.lowest),
            index(document.domain.highest),
        )
    };
    let mut cautions = document.cautions.clone();
    if let Some(calibrated) = cautions.first_mut().filter(|first| first.chars().count() > LONGEST_CALIBRATED) {
        *calibrated = summed_up();
    }
    cautions.extend(document.warnings.iter().map(|warning| format!("{}.", capital(&warning.text))));
    cautions
}

fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}

/// As typed where that is short, else with two decimals.
fn number(value: f64) -> String {
    let typed = value.to_string();
    if typed.len() <= 7 { typed } else { format!("{value:.2}").trim_end_matches('0').trim_end_matches('.').to_owned() }
}

/// Money with two decimals, what is less than one with three.
fn money(value: f64) -> String {
    if value >= 1.0 { format!("{value:.2}") } else { format!("{value:.3}") }
}

fn ratio(price: &Price) -> String {
    let typed = price.price_ratio.to_string();
    if typed.len() <= 7 { typed } else { format!("{:.4}", price.price_ratio) }
}
