//! The trials: sites, designs, applications, what is known of them besides.

use std::collections::BTreeSet;

use super::content::{Block, Section};
use super::draft::{Draft, count, dash, word};
use super::material::{Material, paragraph, section};
use crate::output::AnalysisOf;
use crate::output::curves_text::capitalised;
use crate::output::numbers::{NONE, plain};
use crate::trial::{NeedFrom, Trial};

pub(super) fn trials(material: &Material<'_>) -> Section {
    let programme = &material.season.programme;
    let blocks = [
        paragraph(introduction(material)),
        designs(material).block(),
        applications(material).block(),
        background(material).block(),
        left_out(material).block(),
    ];
    let title = if programme.trials.len() == 1 { "The trial and its design" } else { "Trials and designs" };
    section("trials", title, blocks.into_iter().flatten().collect::<Vec<Block>>())
}

/// Distinct labels, in any order.
fn distinct<'l>(labels: impl Iterator<Item = Option<&'l String>>) -> BTreeSet<&'l str> {
    labels.flatten().map(String::as_str).collect()
}

fn introduction(material: &Material<'_>) -> String {
    let trials = &material.season.programme.trials;
    let readings: usize = trials.iter().map(|trial| trial.readings.len()).sum();
    let plots: usize = trials.iter().map(|trial| trial.plots.len()).sum();
    let read = if readings == 0 { "No plot was sensed.".to_owned() } else { format!("There are {readings} readings.") };
    format!("Plots are counted as they stand in the trials' files: {plots} in all. {read}")
}

/// The design in the words of the analysis of variance, which has looked at the plots; of a trial that has none as it is declared.
pub(super) fn design(material: &Material<'_>, trial: &Trial) -> String {
    let of_trial =
        |analysis: &&AnalysisOf| analysis.group.get("trial").and_then(|name| name.as_str()) == Some(&trial.folder);
    match material.reports.anova.analyses.iter().find(of_trial) {
        Some(analysis) => capitalised(&analysis.design),
        None => capitalised(&trial.design.name().replace('-', " ")),
    }
}

fn designs(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("trial-designs", "Trials")
        .words("trial")
        .words("site")
        .numbers("harvest")
        .words("design")
        .numbers("plots")
        .numbers("blocks")
        .words("varieties")
        .words("factors beside N")
        .words("N varies in");
    for trial in &material.season.programme.trials {
        let blocks = distinct(trial.plots.iter().map(|plot| plot.block.as_ref())).len();
        let varieties: Vec<&str> = distinct(trial.plots.iter().map(|plot| plot.variety.as_ref())).into_iter().collect();
        let varies = match trial.need_from {
            NeedFrom::DifferenceFromOptimum => "all N before sensing",
            NeedFrom::TopdressResponse => "early N and topdress",
        };
        draft.row([
            word(&trial.folder),
            word(&trial.site),
            material.numerals.written(f64::from(trial.harvest_year), |year| year.to_string()),
            word(&design(material, trial)),
            count(trial.plots.len()),
            if blocks == 0 { dash() } else { count(blocks) },
            word(&varieties.join(", ")),
            word(&trial.factors.join(", ")),
            word(varies),
        ]);
    }
    draft
}

fn applications(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("applications", "Applications of N")
        .words("trial")
        .words("application")
        .words("product")
        .words("date")
        .words("stage")
        .words("timing");
    for trial in &material.season.programme.trials {
        for application in &trial.applications {
            draft.row([
                word(&trial.folder),
                word(&application.name),
                word(application.product.as_deref().unwrap_or(NONE)),
                word(&application.date.to_string()),
                word(&application.stage.as_ref().map_or_else(String::new, ToString::to_string)),
                word(&application.timing.name().replace('-', " ")),
            ]);
        }
    }
    draft
}

fn background(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("background", "What else is known of the trials")
        .words("trial")
        .words("planted")
        .words("preceding crop")
        .numbers(material.of_rate("N credited to manure"))
        .numbers(material.of_rate("nitrate N in spring"))
        .numbers("depth (m)");
    let unit = material.season.programme.units.n_rate;
    let rate = |rate: crate::units::NRate| material.wording.rate(rate.in_unit(unit));
    for trial in &material.season.programme.trials {
        let known = &trial.background;
        let nitrate = known.spring_soil_nitrate;
        let cells = [
            word(&trial.folder),
            word(&known.planting_date.map_or_else(String::new, |date| date.to_string())),
            word(known.preceding_crop.as_deref().unwrap_or(NONE)),
            material.numerals.written(known.manure_credit.map(rate), plain),
            material.numerals.written(nitrate.map(|found| rate(found.n)), plain),
            material.numerals.cell(nitrate.map(|found| found.depth_metres), 2),
        ];
        if cells.iter().skip(1).any(|cell| cell.text != NONE) {
            draft.row(cells);
        }
    }
    draft
}

fn left_out(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("trials-left-out", "Trials that take no part").words("trial").words("reason");
    for trial in &material.season.programme.left_out {
        draft.row([word(&trial.folder), word(&trial.reason)]);
    }
    draft
}
