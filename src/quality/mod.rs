//! Checks over a whole trial and over a programme: they return findings and change nothing.
//!
//! What a file or a descriptor says wrongly by itself is found when it is read. Here a trial is held against itself: treatments against
//! blocks, plot numbers against both, readings against the treatments they should show, a reference against its plots, dates against a
//! season, and the trials of a programme against each other.
//!
//! Nearly all findings are warnings: the trial is used as it stands, and its owner should look. An error is only what makes an analysis
//! wrong for certain (a main plot or a strip with two levels of its factor). Every check's documentation says its threshold and why; `common
//! practice` marks what rests on no single source. A fault is told once, where it is: what one check explains, later ones take as right.
//!
//! Thresholds are set so that a sound trial is left alone: of the 7 200 columns of yields and sensings of 200 simulated programmes, 22 had a plot
//! told as outlying and nothing else was told of their 1 800 trials (the one fault that the simulation plants and writes down nowhere apart).

mod additive;
mod harvested;
mod numbering;
mod order;
mod outliers;
mod plates;
mod plausible;
mod position;
mod programme;
mod rates;
mod reference;
mod repeats;
mod sensed;
mod spelling;
mod time;
mod treatments;
mod used;
mod view;
mod whole_plots;
mod words;

#[cfg(test)]
mod tests;

use crate::crop::Crop;
use crate::finding::Finding;
use crate::trial::{Programme, ResultUnits, Trial};
use view::View;

pub use used::{PlotsRead, Used, plots_read};

/// What is to be looked at in a trial of `crop`; yields are told in the unit and at the moisture of `units`.
#[must_use]
pub fn check_trial(trial: &Trial, crop: &Crop, units: &ResultUnits) -> Vec<Finding> {
    // Checks that put a label right come before those that count labels.
    let mut view = View::of(trial, crop, units);
    let mut findings = spelling::two_spellings(&mut view);
    findings.extend(rates::near_levels(&mut view));
    findings.extend(whole_plots::two_levels(&mut view));
    findings.extend(numbering::number_in_other_block(&mut view));
    findings.extend(position::apart_from_block(&view));
    findings.extend(rates::too_high(&mut view));
    findings.extend(treatments::missing_and_extra(&mut view));
    let view = view;
    findings.extend(rates::off_plan(&view));
    findings.extend(rates::one_level(&view));
    findings.extend(check_harvest(&view));
    findings.extend(check_readings(&view));
    findings
}

fn check_harvest(view: &View<'_>) -> Vec<Finding> {
    let mut findings = harvested::zeros_for_missing(view);
    findings.extend(harvested::out_of_range(view));
    findings.extend(harvested::constant_moisture(view));
    findings.extend(harvested::wrong_unit(view));
    findings.extend(harvested::lodging_off_scale(view));
    findings.extend(outliers::outlying_yields(view, &harvested::told_yields(view)));
    findings
}

fn check_readings(view: &View<'_>) -> Vec<Finding> {
    let (mut findings, impossible) = sensed::impossible(view);
    let sensings = sensed::sensed(view, &impossible);
    findings.extend(reference::absent(view));
    findings.extend(reference::of_another_variety(view));
    let not_rich = reference::not_rich(view, &sensings);
    // A reference short of N reads below its plots for that reason.
    let is_rich = not_rich.is_empty();
    findings.extend(not_rich);
    findings.extend(reference::read_apart(view, &sensings));
    findings.extend(time::against_planting(view, &sensings));
    findings.extend(time::long_season(view, &sensings));
    findings.extend(time::stage_goes_back(view, &sensings));
    findings.extend(time::after_topdress(view, &sensings));
    findings.extend(repeats::same_day_twice(view, &sensings));
    findings.extend(plates::plates(view));
    for sensed in &sensings {
        let repeats = repeats::repeated(view, sensed);
        findings.extend(repeats.findings);
        // Readings in a wrong order make every comparison of plots wrong.
        match order::out_of_order(view, sensed) {
            Some(finding) => findings.push(finding),
            None => {
                if is_rich {
                    findings.extend(reference::below_its_plots(view, sensed));
                }
                findings.extend(outliers::outlying_readings(view, sensed, &repeats.plots));
            }
        }
    }
    findings
}

/// What is to be looked at in a programme: in each of its trials, and between them.
#[must_use]
pub fn check_programme(programme: &Programme) -> Vec<Finding> {
    let trials = programme.trials.iter();
    let mut findings: Vec<Finding> =
        trials.flat_map(|trial| check_trial(trial, &programme.crop, &programme.units)).collect();
    findings.extend(programme::same_site_year(programme));
    findings.extend(programme::same_dates(programme));
    findings.extend(programme::same_file(programme));
    findings.extend(programme::same_yields(programme));
    findings.extend(programme::two_spellings(programme));
    findings.extend(programme::unlike_yields(programme));
    findings.extend(programme::unlike_readings(programme));
    findings.extend(after_topdress(programme, &findings));
    findings
}

/// What tables say of readings after the topdress, for trials that have not told it of an instrument already.
fn after_topdress(programme: &Programme, told: &[Finding]) -> Vec<Finding> {
    let mut found = programme::after_topdress(programme);
    let is_told = |finding: &Finding| {
        told.iter().any(|told| {
            told.code == finding.code
                && told.place.file == finding.place.file
                && told.place.column == finding.place.column
        })
    };
    found.retain(|finding| !is_told(finding));
    found
}
