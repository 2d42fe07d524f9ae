//! A comparison for a reader.

use super::compare::{CellOf, ComparedTable, ComparisonOf, PartsOf, SettingOf};
use super::interval_words::interval_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{NONE, count, fixed, percent, plain, price_ratio};

/// Digits of a digest that a text shows.
const DIGEST_SHOWN: usize = 12;
/// Moves smaller than this are rounding.
const NOTHING: f64 = 1e-9;

pub(super) fn text(comparison: &ComparisonOf) -> String {
    let mut text = String::new();
    for (which, table) in [("Old", &comparison.old), ("New", &comparison.new)] {
        text += &paragraph(&format!("{which} table  "), &named(table));
    }
    text += &format!("\n{}", changed(comparison));
    // The cells come price by price, the bases first.
    let mut rest = comparison.cells.as_slice();
    while let Some(first) = rest.first() {
        let here = rest.iter().take_while(|cell| is_same_price(cell, first)).count();
        let (cells, others) = rest.split_at(here);
        text += &format!("\n{}", at_price(comparison, cells));
        rest = others;
    }
    for (whose, ratios) in
        [("old", &comparison.price_ratios_of_old_alone), ("new", &comparison.price_ratios_of_new_alone)]
    {
        if !ratios.is_empty() {
            let list: Vec<String> = ratios.iter().map(|ratio| price_ratio(*ratio)).collect();
            text += &paragraph("", &format!("Only the {whose} table has rates at {}.", list.join(", ")));
        }
    }
    text.push('\n');
    for line in legend(comparison) {
        text += &paragraph("  ", &line);
    }
    text
}

fn named(table: &ComparedTable) -> String {
    let digest = table.digest.get(..DIGEST_SHOWN).unwrap_or(&table.digest);
    // The verdict begins with its words.
    let words = table.verdict.as_deref().and_then(|verdict| verdict.split(':').next());
    let verdict = words.map_or_else(String::new, |words| format!("; does the sensor pay? {words}"));
    format!("{} of {}, {}, digest {digest}…{verdict}", table.table, table.title, count(table.site_years, "site-year"))
}

fn is_same_price(one: &CellOf, other: &CellOf) -> bool {
    [one.price_ratio_old, one.price_ratio_new] == [other.price_ratio_old, other.price_ratio_new]
        && one.base == other.base
}

fn changed(comparison: &ComparisonOf) -> String {
    let changed = &comparison.changed;
    let mut lines = Vec::new();
    let mut list = |what: &str, names: &[String]| {
        if !names.is_empty() {
            lines.push(format!("{what}: {}", names.join(", ")));
        }
    };
    list("site-years added", &changed.site_years_added);
    list("site-years left out", &changed.site_years_left);
    list("site-years with other observations", changed.site_years_corrected.as_deref().unwrap_or_default());
    lines.push(format!("{} in both", count(changed.site_years_kept, "site-year")));
    lines.extend(changed.settings.iter().map(SettingOf::in_words));
    let mut text = "What changed\n".to_owned();
    for line in lines {
        text += &paragraph("  - ", &line);
    }
    text
}

impl SettingOf {
    /// *price ratio: 0.2 bu per lb N → 0.1014 bu per lb N*.
    pub(crate) fn in_words(&self) -> String {
        format!("{}: {} → {}", self.name, shortened(self.name, &self.old), shortened(self.name, &self.new))
    }
}

/// A computed price ratio has more digits than a reader wants.
fn shortened(name: &str, value: &str) -> String {
    if name != "price ratio" {
        return value.to_owned();
    }
    match value.split_once(' ') {
        Some((first, rest)) => {
            first.parse().map_or_else(|_| value.to_owned(), |ratio| format!("{} {rest}", price_ratio(ratio)))
        }
        None => value.to_owned(),
    }
}

/// The cells of one pair of price ratios: what moved, then what the moves are made of.
fn at_price(comparison: &ComparisonOf, cells: &[CellOf]) -> String {
    let Some(first) = cells.first() else { return String::new() };
    let [old, new] = [first.price_ratio_old, first.price_ratio_new].map(price_ratio);
    let ratios = if old == new { old } else { format!("{old} before, {new} now") };
    let ratios = quantity(&ratios, Some(&comparison.price_ratio_unit));
    let head = if first.base { "base price ratio" } else { "price ratio" };
    let head = with_unit(&format!("N rate at the {head} {ratios}"), Some(&comparison.rate_unit));
    let mean = comparison.mean_move.filter(|_| first.base);
    paragraph("", &head) + &moves(cells, mean) + &made_of(cells, mean)
}

fn moves(cells: &[CellOf], mean: Option<PartsOf>) -> String {
    let level = cells.iter().find_map(|cell| cell.difference.as_ref()).map(|difference| difference.level);
    let of_difference =
        level.map_or_else(String::new, |level| format!("{} interval of\nthe difference", percent(level)));
    let mut table =
        TextTable::new().words("index").numbers("old").numbers("new").numbers("move").words(of_difference).words("");
    for cell in cells {
        let [old, new] = [cell.old_rate, cell.new_rate].map(|rate| rate.map_or_else(|| NONE.to_owned(), plain));
        let difference = cell.difference.as_ref().map_or_else(String::new, |difference| interval_text(difference, 0));
        table.row(vec![indices(cell), old, new, signed(cell.parts.moved), difference, verdict(cell)]);
    }
    if let Some(mean) = mean {
        table.row(["mean", "", "", &signed(mean.moved), "", ""].map(str::to_owned).to_vec());
    }
    table.render(2)
}

/// What the moves that are split are made of, where anything moved a rate.
fn made_of(cells: &[CellOf], mean: Option<PartsOf>) -> String {
    let rows: Vec<(String, PartsOf)> = cells
        .iter()
        .filter(|cell| cell.parts.from_prices.is_some())
        .map(|cell| (indices(cell), cell.parts))
        .chain(mean.map(|mean| ("mean".to_owned(), mean)))
        .collect();
    let moves = |part: Option<f64>| part.is_some_and(|part| part.abs() > NOTHING);
    if rows.is_empty() {
        return String::new();
    }
    if !rows.iter().any(|(_, parts)| parts.values().into_iter().any(moves)) {
        return paragraph("  ", "Neither prices nor site-years nor settings move a rate here, alone or together.");
    }
    let program = rows.iter().any(|(_, parts)| moves(parts.from_program));
    let mut table = TextTable::new()
        .words("index")
        .numbers("move")
        .numbers("from\nprices")
        .numbers("from\nsite-years")
        .numbers("from\nsettings")
        .numbers("from stook's\nversion")
        .numbers("together");
    for (name, parts) in rows {
        let [moved, prices, site_years, settings, of_program, together] = parts.values().map(signed);
        let of_program = if program { of_program } else { String::new() };
        table.row(vec![name, moved, prices, site_years, settings, of_program, together]);
    }
    format!("\n{}", table.render(2))
}

/// Where a cell lies.
fn indices(cell: &CellOf) -> String {
    let index = |thousandths: u32| format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
    format!("{} to {}", index(cell.index_from), index(cell.index_below))
}

/// With its sign; nothing is 0.
fn signed(value: Option<f64>) -> String {
    let Some(value) = value else { return NONE.to_owned() };
    let text = if value.fract().abs() < NOTHING { fixed(value, 0) } else { fixed(value, 1) };
    if value > NOTHING { format!("+{text}") } else { text }
}

fn verdict(cell: &CellOf) -> String {
    match cell.verdict {
        "one-table-only" => match (cell.old_rate, cell.new_rate) {
            (Some(_), None) => "a rate in the old table only",
            (None, Some(_)) => "a rate in the new table only",
            _ => "no rate in either",
        },
        "within-uncertainty" => "not more than chance",
        "beyond-uncertainty" => "more than chance",
        "inside-old-interval" => "inside the old interval",
        "outside-old-interval" => "outside the old interval",
        "cannot-tell" => "cannot tell",
        _ => "",
    }
    .to_owned()
}

fn legend(comparison: &ComparisonOf) -> Vec<String> {
    let mut lines = Vec::new();
    if comparison.mean_move.is_some() {
        lines.push(
            "From prices, site-years, settings: the old table derived again with that one thing taken from the new one. Together: what \
             they do only in company. The parts add up to the move; rates are rounded, so a part is a whole number of roundings."
                .to_owned(),
        );
    }
    if let Some(site_years) = comparison.differences_over_site_years {
        lines.push(format!(
            "More than chance: the interval of the difference between the return-maximising rates, before limits and rounding, \
             holds no zero. It comes from leaving each of {site_years} site-years out of both tables at once, the kind of relation \
             kept, and counts what prices and settings move as no chance at all.",
        ));
    }
    if let Some(reason) = &comparison.no_differences {
        lines.push(format!(
            "The tables' intervals are not independent, as they share site-years, and the difference has none of its own ({reason}): \
             whether a new rate lies inside the old row's interval is a rough guide only."
        ));
    }
    lines
        .extend(comparison.not_explained.iter().map(|reason| format!("Moves are not split, or not wholly: {reason}.")));
    lines
}
