//! Trials of one programme against each other.

use super::{assert_one, assert_one_number, scale_harvest, sound, told, trial};
use crate::finding::Finding;
use crate::quality::check_programme;
use crate::trial::{InputFile, Instrument, Programme};

/// What is told of the demo programme once it is changed that was not told before.
fn told_of(change: impl FnOnce(&mut Programme)) -> Vec<Finding> {
    let before = check_programme(&sound());
    let mut programme = sound();
    change(&mut programme);
    let mut told = check_programme(&programme);
    told.retain(|finding| !before.contains(finding));
    told
}

#[test]
fn a_site_year_that_is_there_twice_is_told() {
    let told = told("upper-terrace-2024", |trial| trial.site = "osier bend".to_owned());
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.file.as_str()), ("same-site-year", "upper-terrace-2024/trial.toml"));
    assert!(finding.text.contains("osier-bend-2024"), "{finding}");
}

#[test]
fn a_descriptor_copied_with_its_dates_is_told() {
    // The harvest year alone is another: its dates stay those of the year before.
    let told = told("upper-terrace-2024", |trial| {
        trial.site = "Mill Ground".to_owned();
        trial.harvest_year = 2023;
    });
    assert_eq!(told, [], "days of 2024 alone");
    let told = told_of(|programme| {
        let date = trial(programme, "upper-terrace-2023").applications[0].date;
        trial(programme, "upper-terrace-2024").applications[0].date = date;
    });
    let dates: Vec<_> = told.iter().filter(|finding| finding.code == "same-dates").collect();
    let [finding] = dates.as_slice() else { panic!("{told:#?}") };
    assert!(finding.text.contains("a day of upper-terrace-2023"), "{finding}");
}

#[test]
fn one_file_under_two_names_is_told() {
    let told = told_of(|programme| {
        let position =
            |programme: &Programme, file: &str| programme.inputs.iter().position(|input| input.file == file).unwrap();
        let first = programme.inputs[position(programme, "chalk-rise-2023/leaf.csv")].sha256.clone();
        let second = position(programme, "chalk-rise-2025/leaf.csv");
        programme.inputs[second].sha256 = first;
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.file.as_str()), ("same-file", "chalk-rise-2025/leaf.csv"));
    assert!(finding.text.contains("chalk-rise-2023/leaf.csv"), "{finding}");
}

#[test]
fn a_trial_folder_that_was_copied_is_told_once() {
    let told = told_of(|programme| {
        let mut copy = trial(programme, "upper-terrace-2023").clone();
        for name in [&mut copy.folder, &mut copy.descriptor, &mut copy.plots_file] {
            *name = name.replace("terrace", "copy");
        }
        programme.trials.push(copy);
        let files = programme.inputs.clone();
        let own = files.into_iter().filter(|input| input.file.starts_with("upper-terrace-2023/"));
        let copied = own.map(|input| InputFile { file: input.file.replace("terrace", "copy"), ..input });
        programme.inputs.extend(copied);
    });
    let between: Vec<_> = told.iter().filter(|finding| finding.code.starts_with("same-")).collect();
    let [finding] = between.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.file.as_str()), ("same-site-year", "upper-copy-2023/trial.toml"));
    assert!(finding.text.contains("byte by byte"), "{finding}");
}

#[test]
fn yields_copied_from_another_trial_are_told() {
    let told = told_of(|programme| {
        let from: Vec<_> = trial(programme, "osier-bend-2024").plots.iter().map(|plot| plot.harvest).collect();
        let to = trial(programme, "upper-terrace-2024");
        to.plots.truncate(from.len());
        let plots = to.plots.len();
        to.readings.retain(|reading| reading.plot < plots);
        for (plot, harvest) in to.plots.iter_mut().zip(from) {
            plot.harvest = harvest;
        }
    });
    let same: Vec<_> = told.iter().filter(|finding| finding.code == "same-yields").collect();
    let [finding] = same.as_slice() else { panic!("{told:#?}") };
    assert!(finding.text.contains("osier-bend-2024"), "{finding}");
}

#[test]
fn a_variety_spelt_another_way_in_one_trial_is_told_in_that_trial() {
    for spelling in ["pale heron", "Pale Heronn"] {
        let told = told("chalk-rise-2025", |trial| {
            trial.plots.iter_mut().for_each(|plot| plot.variety = Some(spelling.to_owned()));
        });
        assert_one(&told, "two-spellings", (None, Some("plots.variety"), Some(spelling)), &["Pale Heron"]);
    }
}

#[test]
fn a_trial_that_yields_many_times_the_others_is_told() {
    let told = told("chalk-rise-2023", |trial| trial.plots.iter_mut().for_each(|plot| scale_harvest(plot, 0.14)));
    assert_one_number(&told, "unlike-yields", (2, "yield_kg_ha"), &["times the middle of the other trials"]);
}

#[test]
fn an_instrument_on_another_scale_is_told() {
    let told = told("chalk-rise-2023", |trial| {
        let leaves = trial.readings.iter_mut().filter(|reading| reading.instrument == Instrument::LeafChlorophyll);
        leaves.for_each(|reading| reading.value *= 0.4);
    });
    assert_one_number(&told, "unlike-readings", (2, "value"), &["those of the other trials"]);
}
