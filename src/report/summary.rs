//! The summary: what a committee reads, on one page.

use std::collections::BTreeSet;

use super::content::{Block, Section};
use super::draft::{Draft, count, with_unit, word};
use super::economics::limits;
use super::material::{Material, listed, paragraph, section};
use super::rate_tables::{base, is_converted, rate_cell};
use crate::output::calibrate_validation_text::verdict;
use crate::output::curves_text::capitalised;
use crate::output::group::level_text;
use crate::output::numbers::{count as counted, price_ratio, rate};
use crate::output::optimum_text::{chosen_text, decimals};
use crate::output::table::index_range;
use crate::output::{OptimumGroup, TableCalibration};
use crate::rate_table::{CALIBRATED_RANGE_ONLY, LAW_FIRST, OTHER_CAUSES, RateTable};
use crate::response::OptimumStatus;
use crate::season::TableResult;

/// Rows of tables that the page has room for, what must be said beside them in rows too.
const MOST_ROWS: usize = 31;
/// What a table takes beside its rows: title, head and verdict.
const BESIDE_ROWS: usize = 9;
/// What verdicts speak of.
const FORGOES: &str = "To forgo: to lose net return against the best rate in hindsight.";
/// Kinds of findings that are named.
const KINDS_NAMED: usize = 5;

pub(super) fn summary(material: &Material<'_>) -> Section {
    let mut blocks: Vec<Block> = Vec::new();
    blocks.extend(paragraph(introduction(material)));
    if material.season.tables.is_empty() {
        blocks.extend(optima(material).block());
    } else {
        blocks.extend(tables(material));
    }
    blocks.push(Block::Cautions(cautions(material)));
    section("summary", "Summary", blocks)
}

fn introduction(material: &Material<'_>) -> String {
    let season = material.season;
    let programme = &season.programme;
    let site_years: BTreeSet<String> = programme.trials.iter().map(crate::trial::Trial::site_year).collect();
    let groups = &material.reports.curves.groups;
    let shown = match groups.iter().filter(|group| group.response == Some("detected")).count() {
        0 => "none".to_owned(),
        shown => shown.to_string(),
    };
    let left_out = match programme.left_out.len() {
        0 => String::new(),
        left_out => format!(" ({left_out} left out, with reasons)"),
    };
    let prices = season.price_ratio.as_ref().map_or_else(
        || "No price ratio is given, so there is no economic optimum and no rate table.".to_owned(),
        |ratio| {
            let shown = material.wording.price_ratio(ratio.value);
            let text = material.set(&price_ratio(shown));
            format!("The price ratio is {text} {}.", material.wording.price_ratio_unit())
        },
    );
    format!(
        "{} of {}{left_out} from {}, {} of plots with a curve of their own: a response to N is shown in {shown}. {prices}",
        counted(programme.trials.len(), "trial"),
        programme.crop.name,
        counted(site_years.len(), "site-year"),
        counted(groups.len(), "group"),
    )
}

/// The rate tables in short, each with its verdict, as far as a page goes.
fn tables(material: &Material<'_>) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    let mut room = MOST_ROWS;
    let mut elsewhere = Vec::new();
    for (result, calibration) in material.season.tables.iter().zip(&material.reports.calibrations.tables) {
        let rows = result.derived.table.as_ref().map_or(0, |table| table.document().rows.len());
        let needed = rows + BESIDE_ROWS;
        if needed > room {
            elsewhere.push(result.specification.name.as_str());
            continue;
        }
        room -= needed;
        blocks.extend(in_short(material, result, calibration));
    }
    if material.reports.calibrations.tables.iter().any(|table| table.verdict.is_some()) {
        blocks.extend(paragraph(FORGOES));
    }
    if !elsewhere.is_empty() {
        blocks.extend(paragraph(format!("Further tables stand under Rate tables: {}.", listed(&elsewhere))));
    }
    blocks
}

fn in_short(material: &Material<'_>, result: &TableResult, calibration: &TableCalibration) -> Vec<Block> {
    let name = &result.specification.name;
    let table = match &result.derived.table {
        Ok(table) => table,
        Err(reason) => {
            let reason = capitalised(&reason.to_string());
            return paragraph(format!("{name}: there is no rate table. {reason}.")).into_iter().collect();
        }
    };
    let said = calibration.verdict.as_ref().map_or_else(
        || "No verdict on the sensor: too few site-years could be held out.".to_owned(),
        |found| material.set(&verdict(found, &calibration.return_unit)),
    );
    rows(material, table, calibration).block().into_iter().chain(paragraph(said)).collect()
}

fn rows(material: &Material<'_>, table: &RateTable, calibration: &TableCalibration) -> Draft {
    let document = table.document();
    let numerals = material.numerals;
    let unit = material.wording.options().unit_form.unit(&document.rate_unit);
    let rests_on = if calibration.relation_site_years < calibration.site_years {
        format!("{} of ", calibration.relation_site_years)
    } else {
        String::new()
    };
    let title = format!(
        "{}: {}, {} to {}, rates from {rests_on}{}",
        document.name,
        document.instrument.name(),
        document.stages.first,
        document.stages.last,
        counted(calibration.site_years, "site-year"),
    );
    let mut draft = Draft::new(format!("summary-{}", document.name), title)
        .words("index")
        .numbers(with_unit("N rate", Some(&unit)))
        .limits(&material.interval_head());
    if is_converted(material) {
        draft = draft.numbers(material.of_rate("N rate"));
    }
    let mut draft = draft.numbers("site-years in the row");
    let base = base(document);
    for row in &document.rows {
        let at_base = row.rates.get(base);
        let own = at_base.and_then(|rate| rate.rate);
        let interval = at_base.and_then(|rate| rate.interval.as_ref()).map(|noted| &noted.interval);
        let mut cells = vec![word(&numerals.set(&index_range(row))), rate_cell(material, own)];
        cells.extend(numerals.limits(interval, 0));
        if is_converted(material) {
            cells.push(own.map_or_else(
                || word("no rate"),
                |own| numerals.written(material.wording.rate(own), |shown| rate(shown, 0)),
            ));
        }
        cells.push(count(usize::try_from(row.support.site_years).unwrap_or(usize::MAX)));
        draft.row(cells);
    }
    draft
}

/// The optima of a programme without rate tables, as far as a page goes.
fn optima(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("summary-optima", "Economic optimum N rates")
        .words("group")
        .numbers(material.of_rate("EONR"))
        .limits(&material.interval_head());
    let groups = &material.reports.optima.groups;
    for group in groups.iter().take(MOST_ROWS - BESIDE_ROWS) {
        let decimals = decimals(group);
        let number = group.optimum.rate.filter(|_| group.optimum.status == OptimumStatus::Interior);
        let text = chosen_text(group.response, &group.optimum, decimals);
        let head = [word(&name_of(group)), material.numerals.told(&text, number)];
        draft.row(head.into_iter().chain(limits(material, &group.optimum, decimals)));
    }
    if let Some(more) = groups.len().checked_sub(MOST_ROWS - BESIDE_ROWS).filter(|more| *more > 0) {
        draft.note(format!("{more} more groups stand under Economics."));
    }
    draft
}

fn name_of(group: &OptimumGroup) -> String {
    let levels: Vec<String> = group.group.values().map(level_text).collect();
    if levels.is_empty() { "all plots".to_owned() } else { levels.join(", ") }
}

fn cautions(material: &Material<'_>) -> Vec<String> {
    let mut kinds: Vec<(&str, usize)> = Vec::new();
    for finding in &material.season.warnings {
        match kinds.iter_mut().find(|(code, _)| *code == finding.code) {
            Some((_, number)) => *number += 1,
            None => kinds.push((finding.code, 1)),
        }
    }
    kinds.sort_by_key(|(_, number)| std::cmp::Reverse(*number));
    let mut named: Vec<String> =
        kinds.iter().take(KINDS_NAMED).map(|(code, number)| format!("{number} {code}")).collect();
    let others: usize = kinds.iter().skip(KINDS_NAMED).map(|(_, number)| number).sum();
    if others > 0 {
        named.push(format!("{others} of other kinds"));
    }
    let mut cautions = Vec::new();
    if !named.is_empty() {
        cautions.push(format!("Findings in the data: {}.", named.join(", ")));
    }
    if material.season.tables.iter().any(|result| result.derived.table.is_ok()) {
        cautions.extend([CALIBRATED_RANGE_ONLY, OTHER_CAUSES].map(str::to_owned));
    }
    cautions.push(LAW_FIRST.to_owned());
    cautions
}
