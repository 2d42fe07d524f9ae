//! The rate tables in their published units, with intervals and support, and how they differ from earlier ones.

use super::content::{Block, Section};
use super::draft::{Draft, count, dash, with_unit, word};
use super::in_units::scale_interval;
use super::material::{Material, paragraph, section};
use crate::output::ComparisonOf;
use crate::output::numbers::{plain, price_ratio, rate};
use crate::output::table::{about_rates, index_range};
use crate::rate_table::{Document, RateTable, Row, RowInterval, RowRate};
use crate::trial::InputFile;

pub(super) fn rate_tables(material: &Material<'_>) -> Section {
    let mut blocks: Vec<Block> = Vec::new();
    if material.season.tables.is_empty() {
        blocks.extend(paragraph("The programme wants no rate table: add [[table]] to programme.toml."));
    }
    let mut said: Vec<String> = Vec::new();
    for result in &material.season.tables {
        let name = &result.specification.name;
        blocks.push(Block::Heading(format!("{name}, {}", result.specification.instrument.name())));
        match &result.derived.table {
            Ok(table) => {
                blocks.extend(of_table(material, table));
                // What holds for every table is said with the first.
                let new: Vec<String> =
                    table.document().cautions.iter().filter(|caution| !said.contains(caution)).cloned().collect();
                if !new.is_empty() {
                    blocks.push(Block::Cautions(new.iter().map(|caution| material.set(caution)).collect()));
                }
                said.extend(new);
            }
            Err(reason) => blocks.extend(paragraph(format!("There is no table: {reason}."))),
        }
        let changes = material.changes.iter().filter(|(comparison, _)| comparison.new.table == *name);
        for (comparison, file) in changes {
            blocks.extend(change(material, comparison, file));
        }
        blocks.extend(material.figures(&["change"], Some(name)));
    }
    section("rate-tables", "Rate tables", blocks)
}

fn of_table(material: &Material<'_>, table: &RateTable) -> Vec<Block> {
    let document = table.document();
    let varieties = if document.varieties.is_empty() {
        String::new()
    } else {
        format!(" Varieties: {}.", document.varieties.join(", "))
    };
    let about = format!(
        "For {}, {} to {}. Index = reading ÷ reading of the N-rich reference. {}{varieties}",
        document.crop, document.stages.first, document.stages.last, document.reference,
    );
    let mut blocks: Vec<Block> = Vec::new();
    blocks.extend(paragraph(about));
    blocks.extend(rows(material, table).block());
    blocks.extend(paragraph(format!("Digest of the table: {}", table.digest())));
    blocks.extend(material.figures(&["rates"], Some(&document.name)));
    blocks
}

/// The position of the base price ratio.
pub(super) fn base(document: &Document) -> usize {
    document.prices.iter().position(|price| price.base).unwrap_or(0)
}

/// Whether rates are shown in another unit than the table's own.
pub(super) fn is_converted(material: &Material<'_>) -> bool {
    material.wording.rate(1.0) != 1.0
}

/// An interval of a row, in the shown unit.
fn shown(material: &Material<'_>, noted: &RowInterval) -> crate::stats::interval::Interval {
    let mut interval = noted.interval.clone();
    scale_interval(&mut interval, material.wording.rate(1.0));
    interval
}

/// The unit that the table was published in.
fn own_unit(material: &Material<'_>, document: &Document) -> String {
    material.wording.options().unit_form.unit(&document.rate_unit)
}

fn rows(material: &Material<'_>, table: &RateTable) -> Draft {
    let numerals = material.numerals;
    let document = table.document();
    let base = base(document);
    let converted = is_converted(material);
    let own_unit = own_unit(material, document);
    let rates = || document.rows.iter().flat_map(|row| &row.rates);
    let level = |found: fn(&RowRate) -> Option<&RowInterval>| {
        rates().find_map(found).map(|noted| crate::output::numbers::percent(noted.interval.level))
    };
    let interval =
        level(|rate| rate.interval.as_ref()).map_or_else(|| "interval".to_owned(), |level| format!("{level} interval"));
    let range = level(|rate| rate.new_site_years.as_ref());
    let range = range.map_or_else(|| "new site-years".to_owned(), |share| format!("{share} of new site-years"));
    let mut draft = Draft::new(format!("rates-{}", document.name), format!("{}: N rates", document.name))
        .words("index")
        .numbers(with_unit("N rate", Some(&own_unit)))
        .limits(&with_unit(&interval, Some(&own_unit)))
        .limits(&with_unit(&range, Some(&own_unit)));
    if converted {
        draft = draft
            .numbers(material.of_rate("N rate"))
            .limits(&material.of_rate(&interval))
            .limits(&material.of_rate(&range));
    }
    for price in document.prices.iter().filter(|price| !price.base) {
        draft = draft.numbers(with_unit(
            &format!("N rate at ratio {}", numerals.set(&price_ratio(price.price_ratio))),
            Some(&own_unit),
        ));
    }
    let mut draft = draft.numbers("site-years").numbers("points").numbers("plots").words("note");
    for row in &document.rows {
        draft.row(row_cells(material, row, base, converted));
    }
    let ratio = document.prices.get(base).map_or_else(String::new, |price| {
        format!(
            "N rate and intervals at a price ratio of {} {}.",
            price_ratio(price.price_ratio),
            price.price_ratio_unit
        )
    });
    draft.note(numerals.set(&ratio));
    let form = material.wording.options().unit_form;
    let units = [Some(&document.rate_unit), document.verdict.as_ref().map(|verdict| &verdict.unit)];
    for line in about_rates(document) {
        let line = numerals.set(&line);
        draft.note(units.iter().flatten().fold(line, |line, unit| line.replace(unit.as_str(), &form.unit(unit))));
    }
    if converted {
        draft.note("The table is published, rounded and limited in its own unit; the other one is converted from it.");
    }
    draft
}

/// The rate of a row, or that there is none.
pub(super) fn rate_cell(material: &Material<'_>, rate: Option<f64>) -> super::content::Cell {
    match rate {
        Some(rate) => material.numerals.written(rate, plain),
        None => word("no rate"),
    }
}

fn row_cells(material: &Material<'_>, row: &Row, base: usize, converted: bool) -> Vec<super::content::Cell> {
    let numerals = material.numerals;
    let at_base = row.rates.get(base);
    let interval = at_base.and_then(|rate| rate.interval.as_ref());
    let range = at_base.and_then(|rate| rate.new_site_years.as_ref());
    let own_rate = at_base.and_then(|rate| rate.rate);
    let mut cells = vec![word(&numerals.set(&index_range(row))), rate_cell(material, own_rate)];
    for noted in [interval, range] {
        cells.extend(numerals.limits(noted.map(|noted| &noted.interval), 0));
    }
    if converted {
        cells.push(match own_rate {
            Some(own) => numerals.written(material.wording.rate(own), |shown| rate(shown, 0)),
            None => word("no rate"),
        });
        for noted in [interval, range] {
            cells.extend(numerals.limits(noted.map(|noted| shown(material, noted)).as_ref(), 0));
        }
    }
    let others = row.rates.iter().enumerate().filter(|(position, _)| *position != base);
    cells.extend(others.map(|(_, found)| rate_cell(material, found.rate)));
    let support = [row.support.site_years, row.support.points, row.support.plots];
    cells.extend(support.map(|number| count(usize::try_from(number).unwrap_or(usize::MAX))));
    cells.push(word(row.note.as_deref().unwrap_or_default()));
    cells
}

/// What moved against an earlier table, from what, and whether it is more than chance.
fn change(material: &Material<'_>, comparison: &ComparisonOf, file: &InputFile) -> Vec<Block> {
    let changed = &comparison.changed;
    let mut points = Vec::new();
    let mut name = |what: &str, names: &[String]| {
        if !names.is_empty() {
            points.push(format!("{what}: {}", super::material::listed(names)));
        }
    };
    name("Site-years added", &changed.site_years_added);
    name("Site-years left out", &changed.site_years_left);
    name("Site-years with other observations", changed.site_years_corrected.as_deref().unwrap_or_default());
    points.push(format!("Site-years in both: {}", changed.site_years_kept));
    points.extend(changed.settings.iter().map(|one| material.set(&one.in_words())));
    points
        .extend(comparison.not_explained.iter().map(|reason| format!("Moves are not split, or not wholly: {reason}")));
    if let Some(reason) = &comparison.no_differences {
        points.push(format!("The difference has no interval of its own: {reason}"));
    }
    let heading = format!("{}: change since {}", comparison.new.table, comparison.old.title);
    let from =
        format!("The earlier table is {} of {}, file {}.", comparison.old.table, comparison.old.title, file.file);
    let mut blocks = vec![Block::Heading(heading)];
    blocks.extend(paragraph(from));
    blocks.extend(super::material::list(points));
    blocks.extend(moves(material, comparison).block());
    blocks
}

fn moves(material: &Material<'_>, comparison: &ComparisonOf) -> Draft {
    let numerals = material.numerals;
    let unit = material.wording.options().unit_form.unit(&comparison.rate_unit);
    let of_rate = |head: &str| with_unit(head, Some(&unit));
    let name = format!("moves-{}", comparison.new.table);
    let mut draft = Draft::new(name, format!("{}: what moved since the earlier table", comparison.new.table))
        .words("index")
        .numbers("price ratio before")
        .numbers("now")
        .numbers(of_rate("old"))
        .numbers(of_rate("new"))
        .numbers(of_rate("move"))
        .numbers("from prices")
        .numbers("from site-years")
        .numbers("from settings")
        .numbers("from stook's version")
        .numbers("together")
        .limits("interval of the difference")
        .words("more than chance");
    let index = |thousandths: u32| format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
    for cell in &comparison.cells {
        let verdict = match cell.verdict {
            "one-table-only" => "a rate in one table only",
            "within-uncertainty" => "no",
            "beyond-uncertainty" => "yes",
            "inside-old-interval" => "inside the old interval",
            "outside-old-interval" => "outside the old interval",
            "cannot-tell" => "cannot tell",
            _ => "unmoved",
        };
        let head = [
            word(&numerals.set(&format!("{} to {}", index(cell.index_from), index(cell.index_below)))),
            numerals.written(cell.price_ratio_old, price_ratio),
            numerals.written(cell.price_ratio_new, price_ratio),
            rate_cell(material, cell.old_rate),
            rate_cell(material, cell.new_rate),
        ];
        let parts = cell.parts.values().map(|part| numerals.written(part, signed));
        let limits = numerals.limits(cell.difference.as_ref(), 0);
        draft.row(head.into_iter().chain(parts).chain(limits).chain([word(verdict)]));
    }
    if let Some(mean) = comparison.mean_move {
        let head = [word("mean at the base ratios"), dash(), dash(), dash(), dash()];
        let parts = mean.values().map(|part| numerals.written(part, signed));
        draft.row(head.into_iter().chain(parts).chain([dash(), dash(), dash()]));
        draft.note("From prices, site-years, settings: the old table derived again with that one thing taken from the new one. Together: what they do only in company. The parts add up to the move.");
    }
    if let Some(site_years) = comparison.differences_over_site_years {
        draft.note(format!("More than chance: the interval of the difference between the return-maximising rates, before limits and rounding, holds no zero; it comes from leaving each of {site_years} site-years out of both tables at once."));
    }
    draft
}

/// With a plus above zero.
fn signed(value: f64) -> String {
    let text = if value.fract() == 0.0 { rate(value, 0) } else { rate(value, 1) };
    if value > 0.0 { format!("+{text}") } else { text }
}
