//! Calibration: N need against the index, the relations tried, and what they say of site-years that they have not seen. Points of one
//! site-year are not independent: no R² and no p over them is written.

use super::content::{Block, Section};
use super::draft::{Draft, count, dash, with_unit, word};
use super::material::{Material, paragraph, section};
use super::validation::validation;
use crate::output::calibrate_index_text::{critical_index_words, formula as feature_formula, names, reliability_words};
use crate::output::calibrate_text::{INDEX_DECIMALS, formula, is_past, limits, need};
use crate::output::curves_text::capitalised;
use crate::output::numbers::{count as counted, fixed, plain, price_ratio};
use crate::output::{CalibrationAt, FeaturesOf, Point, RelationOf, TableCalibration};

/// Decimals of standard deviations of needs.
const ERROR_DECIMALS: usize = 1;

pub(super) fn calibration(material: &Material<'_>) -> Section {
    let calibrations = &material.reports.calibrations;
    let mut blocks: Vec<Block> = Vec::new();
    if calibrations.tables.is_empty() {
        blocks.extend(paragraph("The programme wants no rate table, so there is no calibration."));
    }
    for table in &calibrations.tables {
        blocks.push(Block::Heading(format!(
            "{}: N need against the {} index, {} to {}",
            table.table, table.instrument, table.first_stage, table.last_stage
        )));
        blocks.extend(of_table(material, table));
    }
    for (number, features) in (1_usize..).zip(&calibrations.features) {
        blocks.push(Block::Heading(format!("Several readings at once: {}", features.of)));
        blocks.extend(together(material, number, features));
    }
    section("calibration", "Calibration and validation", blocks)
}

fn of_table(material: &Material<'_>, table: &TableCalibration) -> Vec<Block> {
    let Some(base) = table.base() else {
        return paragraph("There is no price ratio, so no need can be counted.").into_iter().collect();
    };
    let mut blocks: Vec<Block> = Vec::new();
    blocks.extend(paragraph(introduction(material, table, base)));
    blocks.extend(validation(material, table));
    blocks.extend(relations(material, table, base).block());
    blocks.extend(points(material, table, base).block());
    blocks.extend(set_aside(table, base).block());
    if !base.points.is_empty() {
        blocks.extend(paragraph(material.set(&reliability_words(&table.reliability))));
        blocks.extend(paragraph(
            material.set(&critical_index_words(&table.critical_index, material.wording.rate_unit())),
        ));
        blocks.extend(confusion(material, table).block());
    }
    let kinds = ["calibration", "validation", "forgone"];
    blocks.extend(material.figures(&kinds, Some(&table.table)));
    blocks
}

fn introduction(material: &Material<'_>, table: &TableCalibration, base: &CalibrationAt) -> String {
    let (used, aside) = base.plots();
    let ratio = format!(
        "{} {}",
        price_ratio(base.price_ratio),
        material.reports.calibrations.price_ratio_unit.as_deref().unwrap_or_default()
    );
    let reason = table.reason.as_ref().map_or_else(String::new, |reason| format!(" There is no relation: {reason}."));
    material.set(&format!(
        "At a price ratio of {}: {} from {} of {}; {} set aside.{reason}",
        ratio.trim(),
        counted(base.points.len(), "point"),
        counted(used, "plot"),
        counted(table.site_years, "site-year"),
        counted(aside, "plot"),
    ))
}

fn relations(material: &Material<'_>, of: &TableCalibration, base: &CalibrationAt) -> Draft {
    let numerals = material.numerals;
    let mut draft =
        Draft::new(format!("relations-{}", of.table), format!("{}: relations of N need and index", of.table))
            .words("relation")
            .words("taken")
            .words(material.of_rate("N need ="))
            .numbers(material.of_rate("SD between site-years"))
            .numbers(material.of_rate("SD within"))
            .numbers(with_unit("forgone, held out", Some(&of.return_unit)))
            .words("none, because");
    for relation in &base.relations {
        let forgone = of.tried.iter().find(|tried| tried.relation == relation.kind).and_then(|tried| tried.forgone);
        let taken = Some(relation.kind) == of.relation;
        draft.row([
            word(relation.kind),
            word(if taken { "yes" } else { "no" }),
            if relation.reason.is_none() {
                numerals.told(&need_formula(material, relation, base.price_ratio), None)
            } else {
                dash()
            },
            numerals.cell(relation.between, ERROR_DECIMALS),
            numerals.cell(relation.within, ERROR_DECIMALS),
            numerals.cell(forgone, 2),
            word(relation.reason.as_deref().unwrap_or_default()),
        ]);
    }
    draft.note(if of.relation_asked.is_some() {
        "Taken as asked for."
    } else {
        "Taken: the first in order of preference that is not told from the best one by what its rates forgo on held-out site-years."
    });
    if of.relation_site_years < of.site_years {
        draft.note(format!(
            "The relation that is taken rests on the {} with early × topdress trials alone.",
            counted(of.relation_site_years, "site-year")
        ));
    }
    if base.relations.iter().any(|relation| relation.coefficients.contains_key("need_at_reference")) {
        draft.note("s = 1 − index.");
    }
    if base.relations.iter().any(|relation| relation.coefficients.contains_key("ordinate_1")) {
        draft.note("The knots and ordinates of a spline(s) are in the table's JSON file.");
    }
    let held = base.relations.iter().filter(|relation| relation.held_from_rising == Some(true));
    let held: Vec<&str> = held.map(|relation| relation.kind).collect();
    if !held.is_empty() {
        draft.note(format!("Kept from rising with the index: {}.", held.join(", ")));
    }
    draft
}

/// The need as a formula. Its price ratio is one of yields for rates as they are shown, whatever unit ratios themselves are given in.
fn need_formula(material: &Material<'_>, relation: &RelationOf, shown_ratio: f64) -> String {
    let wording = material.wording;
    let own = shown_ratio / wording.price_ratio(1.0);
    let in_shown_units = own * (wording.yields(1.0) / wording.rate(1.0));
    formula(relation, in_shown_units)
}

/// A name of what is known of a need.
fn bound(point: &Point) -> &'static str {
    match (point.bound, point.optimum_status) {
        (_, "not-shown") => "response not shown",
        ("exact", _) => "a number",
        ("at-most", _) => "at most",
        ("at-least", _) => "at least",
        ("within", _) => "within its interval",
        _ => "open",
    }
}

fn points(material: &Material<'_>, of: &TableCalibration, base: &CalibrationAt) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(format!("points-{}", of.table), format!("{}: points of the calibration", of.table))
        .words("trial")
        .words("variety")
        .numbers(material.of_rate("N on"))
        .numbers("plots")
        .numbers("index")
        .numbers(material.of_rate("N need"))
        .numbers("SE")
        .words("interval")
        .words("need is");
    for point in &base.points {
        let number = Some(point.need).filter(|_| point.bound == "exact");
        draft.row([
            word(&point.trial),
            word(point.variety.as_deref().unwrap_or_default()),
            numerals.written(point.n_on, plain),
            count(point.plots),
            numerals.cell(point.index, INDEX_DECIMALS),
            numerals.told(&need(point), number),
            numerals.cell(point.standard_error, 0),
            numerals.told(&limits(point), None),
            word(bound(point)),
        ]);
    }
    draft.note("Needs are negative where more was on than the optimum. Points of one trial and variety may share the error of its optimum.");
    if base.points.iter().any(is_past) {
        draft
            .note("Past: the whole interval comes from beyond the tested rates, where a number would be extrapolated.");
    }
    draft
}

fn set_aside(of: &TableCalibration, base: &CalibrationAt) -> Draft {
    let title = format!("{}: trials and plots that give no point", of.table);
    let mut draft =
        Draft::new(format!("set-aside-{}", of.table), title).words("trial").numbers("plots").words("reason");
    for aside in &base.set_aside {
        draft.row([word(&aside.trial), count(aside.plots), word(&aside.reason)]);
    }
    draft
}

fn confusion(material: &Material<'_>, of: &TableCalibration) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(
        format!("critical-index-{}", of.table),
        format!("{}: N below the critical index, none above it", of.table),
    )
    .words("treatments")
    .numbers("needed, given")
    .numbers("needed, not given")
    .numbers("not needed, given")
    .numbers("not needed, not given")
    .numbers("right, of all (%)")
    .numbers("mean of both kinds (%)");
    let critical = &of.critical_index;
    let named = [("those it was set on", &critical.own), ("site-years by the others", &critical.held_out)];
    for (name, counts) in named.into_iter().filter_map(|(name, counts)| Some((name, counts.as_ref()?))) {
        let percent = |share: Option<f64>| numerals.cell(share.map(|share| 100.0 * share), 0);
        draft.row([
            word(name),
            count(counts.deficient_below),
            count(counts.deficient_above),
            count(counts.sufficient_below),
            count(counts.sufficient_above),
            percent(counts.accuracy),
            percent(counts.balanced_accuracy),
        ]);
    }
    draft
}

/// Several features at once; `number` tells their tables apart.
fn together(material: &Material<'_>, number: usize, found: &FeaturesOf) -> Vec<Block> {
    if let Some(reason) = &found.reason {
        return paragraph(format!("Not compared: {reason}.")).into_iter().collect();
    }
    let numerals = material.numerals;
    let mut draft = Draft::new(format!("features-{number}"), format!("Features of N need: {}", found.of))
        .words("features")
        .words("earns its place")
        .numbers(material.of_rate("RMSE, held out"))
        .numbers("bias")
        .words(material.of_rate("N need ="))
        .words("explains nothing, because");
    for set in &found.sets {
        let earns = match set.earns_its_place {
            Some(true) => "yes",
            Some(false) => "no",
            None => "",
        };
        draft.row([
            word(&capitalised(&names(&set.features))),
            word(earns),
            numerals.written(set.rmse, |value| fixed(value, 1)),
            numerals.written(set.bias, |value| fixed(value, 1)),
            if set.reason.is_none() { numerals.told(&feature_formula(set), None) } else { dash() },
            word(set.reason.as_deref().unwrap_or_default()),
        ]);
    }
    let chosen = if found.chosen.is_empty() {
        "No feature earns its place: one need for all predicts site-years not seen as well.".to_owned()
    } else {
        format!("Best of those that earn their place: {}.", names(&found.chosen))
    };
    let text = format!(
        "{} with every feature and a need that is a number, of {}; each site-year weighs the same and is predicted by the others. A feature earns \
         its place where it lowers the squared error on site-years not seen by more than one standard error. {chosen}",
        capitalised(&counted(found.rows, "treatment")),
        counted(found.site_years, "site-year"),
    );
    paragraph(text).into_iter().chain(draft.block()).collect()
}
