//! Sensing: what was read, the index of every treatment, and whether readings, reference and canopy can be trusted.

use super::content::{Block, Section};
use super::draft::{Draft, count, dash, word};
use super::material::{Material, list, paragraph, section, shortened};
use crate::output::SensingOf;
use crate::output::anova_text::p_cell;
use crate::output::numbers::{plain, significant};
use crate::output::sense_study_text::{crowding_text, plate_text, reference_text, stand_words};
use crate::trial::FlaggedLeaves;

/// Decimals of an index, as in a rate table.
const INDEX_DECIMALS: usize = 3;

pub(super) fn sensing(material: &Material<'_>) -> Section {
    let sense = &material.reports.sense;
    if sense.sensings.is_empty() {
        let none = paragraph("No trial has readings, so there is no index, no calibration and no rate table.");
        return section("sensing", "Sensing", none);
    }
    let mut blocks: Vec<Block> = Vec::new();
    blocks.extend(paragraph(
        "The sufficiency index is reading ÷ reading of the N-rich reference of the same variety; an index of a treatment is the mean over its \
         plots.",
    ));
    blocks.extend(readings(material).block());
    blocks.extend(indices(material).block());
    blocks.extend(references(material).block());
    blocks.extend(crowding(material).block());
    blocks.extend(precision(material).block());
    blocks.extend(plates(material).block());
    let doubts = shortened(doubts(material), "are in the tables");
    if !doubts.is_empty() {
        blocks.push(Block::Cautions(doubts));
    }
    let stand = shortened(stand(material), "are in data/index.csv of a season");
    if !stand.is_empty() {
        blocks.extend(paragraph("Stand or N: what a low canopy index comes from, where that can be told."));
        blocks.extend(list(stand));
    }
    blocks.extend(material.figures(&["readings", "leaf-canopy", "map-canopy-ndvi", "map-leaf-chlorophyll"], None));
    section("sensing", "Sensing", blocks)
}

/// Trial, instrument and date of a sensing.
fn day(sensing: &SensingOf) -> [super::content::Cell; 3] {
    [word(&sensing.trial), word(sensing.instrument), word(&sensing.date)]
}

fn name_of(sensing: &SensingOf) -> String {
    format!("{}, {}, {}", sensing.trial, sensing.instrument, sensing.date)
}

fn on_days(draft: Draft) -> Draft {
    draft.words("trial").words("instrument").words("date")
}

fn readings(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let mut draft = on_days(Draft::new("readings", "Readings: plots read are used or left out"))
        .numbers("plots read")
        .numbers("used")
        .numbers("left out")
        .words("variety")
        .words("shows the N that is on")
        .numbers("p")
        .numbers("lowest ÷ highest N level")
        .numbers("leaves far from their plot");
    for sensing in &material.reports.sense.sensings {
        let counts = || [sensing.plots_read, sensing.used, sensing.excluded].map(count);
        if sensing.shows_n.is_empty() {
            let none =
                [dash(), word("not tested: all plots had the same"), dash(), dash(), count(sensing.flagged.len())];
            draft.row(day(sensing).into_iter().chain(counts()).chain(none));
        }
        for shown in &sensing.shows_n {
            let own = [
                word(shown.variety.as_deref().unwrap_or_default()),
                word(if shown.shown { "yes" } else { "no" }),
                numerals.written(shown.p_value, p_cell),
                numerals.cell(shown.lowest_to_highest, INDEX_DECIMALS),
                count(sensing.flagged.len()),
            ];
            draft.row(day(sensing).into_iter().chain(counts()).chain(own));
        }
    }
    draft.note("p: F test of the levels of N already on.");
    if material.reports.sense.sensings.iter().any(|sensing| !sensing.flagged.is_empty()) {
        draft.note(match material.reports.sense.flagged_leaves {
            FlaggedLeaves::Keep => "Leaves far from the rest of their plot are kept.",
            FlaggedLeaves::LeaveOut => "Leaves far from the rest of their plot are left out, as the programme says.",
        });
    }
    draft
}

fn indices(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let mut draft = on_days(Draft::new("indices", "Readings and index of the treatments"))
        .words("variety")
        .numbers(material.of_rate("N already on"))
        .words("plots are")
        .numbers("n")
        .numbers("mean reading")
        .numbers("mean index");
    for sensing in &material.reports.sense.sensings {
        for treatment in &sensing.treatments {
            let own = [
                word(treatment.variety.as_deref().unwrap_or_default()),
                numerals.written(treatment.n_on, plain),
                word(if treatment.is_reference { "N-rich reference" } else { "treatment" }),
                count(treatment.plots),
                numerals.written(treatment.reading, |reading| significant(reading, 3)),
                numerals.cell(treatment.index, INDEX_DECIMALS),
            ];
            draft.row(day(sensing).into_iter().chain(own));
        }
    }
    draft.note("n: plots with an index.");
    draft
}

/// A verdict in words.
fn verdict(verdict: &str) -> &str {
    if verdict == "cannot-tell" { "cannot be told" } else { verdict }
}

fn references(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let mut draft = on_days(Draft::new("references", "Is the N-rich reference sufficient?"))
        .words("variety")
        .words("verdict")
        .words("by its reading")
        .words("by its yield")
        .numbers("reference plots")
        .numbers(material.of_rate("N on it"))
        .numbers("plots read above it")
        .numbers("of")
        .numbers("their mean index");
    for sensing in &material.reports.sense.sensings {
        for reference in &sensing.references {
            let own = [
                word(reference.variety.as_deref().unwrap_or_default()),
                word(verdict(reference.verdict)),
                word(verdict(reference.by_reading.verdict)),
                word(reference.by_yield.as_ref().map_or("", |by_yield| verdict(by_yield.verdict))),
                count(reference.reference_plots),
                numerals.written(reference.by_reading.reference_n, plain),
                count(reference.plots_above),
                count(reference.plots),
                numerals.cell(reference.mean_index, INDEX_DECIMALS),
            ];
            draft.row(day(sensing).into_iter().chain(own));
        }
    }
    draft
}

fn crowding(material: &Material<'_>) -> Draft {
    /// Decimals of a slope of the index.
    const SLOPE_DECIMALS: usize = 4;
    let numerals = material.numerals;
    let mut draft = on_days(Draft::new("crowding", "Is the canopy crowded?"))
        .words("variety")
        .words("crowded")
        .numbers("reference NDVI")
        .numbers("index for 10 of N, upper levels")
        .numbers("p")
        .numbers("index for 10 of N, lower levels")
        .numbers("no bend: p");
    for sensing in &material.reports.sense.sensings {
        for found in &sensing.crowding {
            let slope = |slope: &Option<crate::output::sense_study::SlopeOf>| {
                let estimate = slope.as_ref().and_then(|slope| slope.slope.estimate);
                numerals.cell(estimate.map(|estimate| 10.0 * estimate), SLOPE_DECIMALS)
            };
            let crowded = match found.crowded {
                "cannot-tell" => "cannot be told",
                "not-crowded" => "no",
                "crowded" => "yes",
                other => other,
            };
            let own = [
                word(found.variety.as_deref().unwrap_or_default()),
                word(crowded),
                numerals.cell(found.reference, INDEX_DECIMALS),
                slope(&found.upper),
                numerals.written(found.upper.as_ref().map(|slope| slope.p_value), p_cell),
                slope(&found.lower),
                numerals.written(found.bend_p_value, p_cell),
            ];
            draft.row(day(sensing).into_iter().chain(own));
        }
    }
    draft.note(format!("Slopes are of the index over 10 {} of N already on. A crop that has enough N and a sensor that sees no more give the same flat readings: without a leaf meter that is perhaps.", material.wording.rate_unit()));
    draft
}

fn precision(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let mut draft = on_days(Draft::new("precision", "How much readings and plots differ"))
        .numbers("readings a plot")
        .numbers("plots a treatment")
        .numbers("SD within a plot")
        .numbers("SD between plots")
        .numbers("SE of a treatment mean (%)")
        .limits(&material.interval_head());
    for sensing in &material.reports.sense.sensings {
        let Some(found) = &sensing.precision else { continue };
        let sd = |sd: f64| numerals.written(sd, |sd| significant(sd, 3));
        let own = [
            count(found.readings),
            count(found.plots),
            sd(found.within_sd),
            sd(found.between_sd),
            numerals.cell(found.standard_error_percent.estimate, 1),
        ];
        let limits = numerals.limits(Some(&found.standard_error_percent), 1);
        draft.row(day(sensing).into_iter().chain(own).chain(limits));
    }
    draft.note("Readings a plot and plots a treatment are medians. SD between plots of one treatment: beyond that of their readings; 0 where they differ no more than these explain.");
    draft
}

fn plates(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let mut draft = on_days(Draft::new("plates", "How instruments kept to their reference plates"))
        .words("kept")
        .numbers("tolerance")
        .numbers("mean deviation")
        .numbers("drift over the day")
        .numbers("p");
    for plate in &material.reports.sense.plates {
        draft.row([
            word(&plate.trial),
            word(plate.instrument),
            word(&plate.date),
            word(&plate.kept.replace('-', " ")),
            numerals.written(plate.tolerance, plain),
            numerals.written(plate.mean_deviation, |value| significant(value, 2)),
            numerals.written(plate.drift_over_day, |value| significant(value, 2)),
            numerals.written(plate.drift_p_value, p_cell),
        ]);
    }
    draft
}

/// What makes an index doubtful, with its numbers.
fn doubts(material: &Material<'_>) -> Vec<String> {
    let sense = &material.reports.sense;
    let unit = &sense.rate_unit;
    let mut doubts = Vec::new();
    for sensing in &sense.sensings {
        let mut doubt = |text: &str| doubts.push(format!("{}: {}", name_of(sensing), material.set(text)));
        let doubtful = sensing.references.iter().filter(|reference| reference.verdict == "doubtful");
        // What the yield says stands in the table of references.
        doubtful.for_each(|reference| doubt(&reference_text(reference, sensing, unit).replace(", see below.", ".")));
        let crowded = sensing.crowding.iter().filter(|crowding| crowding.crowded == "crowded");
        crowded.filter_map(|crowding| crowding_text(crowding, unit)).for_each(|text| doubt(&text));
        for shown in sensing.shows_n.iter().filter(|shown| !shown.shown) {
            let whose = shown.variety.as_ref().map_or_else(String::new, |variety| format!(" of {variety}"));
            doubt(&format!("the readings{whose} do not show the N already on."));
        }
    }
    let off = sense.plates.iter().filter(|plate| plate.kept != "within-tolerance");
    doubts.extend(off.map(|plate| format!("{}: {}", plate.trial, material.set(&plate_text(plate)))));
    doubts
}

fn stand(material: &Material<'_>) -> Vec<String> {
    let sense = &material.reports.sense;
    let of_day = |sensing: &SensingOf| {
        let words = sensing.stand.as_ref().map_or_else(Vec::new, |stand| stand_words(stand, &sense.rate_unit));
        words.into_iter().map(|words| format!("{}: {}", name_of(sensing), material.set(&words))).collect::<Vec<_>>()
    };
    sense.sensings.iter().flat_map(of_day).collect()
}
