//! Sound simulated trials, each broken in one thing.

mod programme;
mod readings;
mod simulated;
mod treatments;

use std::fs;
use std::sync::OnceLock;

use jiff::civil::Date;

use super::check_programme;
use crate::files::load_programme;
use crate::finding::Finding;
use crate::simulate::{self, Simulated};
use crate::trial::{Harvest, Instrument, Plot, Programme, Reading, Trial};
use crate::units::Yield;

/// A simulated programme written to disk and read back.
fn read(simulated: &Simulated) -> Programme {
    let folder = tempfile::tempdir().unwrap();
    for file in &simulated.files {
        let path = folder.path().join(&file.path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, &file.text).unwrap();
    }
    load_programme(folder.path()).unwrap_or_else(|findings| panic!("{findings:#?}")).value
}

/// The demo programme: nothing in it is told but what the tests of simulated programmes name.
fn sound() -> Programme {
    static SOUND: OnceLock<Programme> = OnceLock::new();
    SOUND.get_or_init(|| read(&simulate::demo(simulate::DEMO_SEED))).clone()
}

/// What is told of the demo programme with the trial in `folder` changed that was not told before.
fn told(folder: &str, change: impl FnOnce(&mut Trial)) -> Vec<Finding> {
    static BEFORE: OnceLock<Vec<Finding>> = OnceLock::new();
    let before = BEFORE.get_or_init(|| check_programme(&sound()));
    let mut programme = sound();
    change(trial(&mut programme, folder));
    let mut told = check_programme(&programme);
    told.retain(|finding| !before.contains(finding));
    told
}

fn trial<'p>(programme: &'p mut Programme, folder: &str) -> &'p mut Trial {
    programme.trials.iter_mut().find(|trial| trial.folder == folder).unwrap()
}

/// Asserts that one finding was told: code, row, column and value, and words that its text holds.
#[track_caller]
fn assert_one(told: &[Finding], code: &str, place: (Option<u64>, Option<&str>, Option<&str>), words: &[&str]) {
    let [finding] = told else { panic!("one finding was expected: {told:#?}") };
    assert_eq!(finding.code, code, "{finding}");
    let (row, column, value) = place;
    assert_eq!(finding.place.row, row, "{finding}");
    assert_eq!(finding.place.column.as_deref(), column, "{finding}");
    assert_eq!(finding.place.value.as_deref(), value, "{finding}");
    for word in words {
        assert!(finding.text.contains(word), "{word:?} in {finding}");
    }
    assert!(finding.remedy.as_ref().is_some_and(|remedy| !remedy.is_empty()), "{finding}");
}

/// Asserts that one finding was told: code, row and column, and words that its text holds; the value is some number as typed.
#[track_caller]
fn assert_one_number(told: &[Finding], code: &str, (row, column): (u64, &str), words: &[&str]) {
    let value = told.first().and_then(|finding| finding.place.value.clone());
    assert!(value.as_ref().is_some_and(|value| value.parse::<f64>().is_ok()), "{told:#?}");
    assert_one(told, code, (Some(row), Some(column), value.as_deref()), words);
}

fn position(trial: &Trial, id: &str) -> usize {
    trial.plots.iter().position(|plot| plot.id == id).unwrap()
}

fn plot<'t>(trial: &'t mut Trial, id: &str) -> &'t mut Plot {
    let position = position(trial, id);
    &mut trial.plots[position]
}

/// A trial of the sound programme, to look things up in.
fn sound_trial(folder: &str) -> Trial {
    trial(&mut sound(), folder).clone()
}

/// Changes the harvest's number as typed.
fn scale_harvest(plot: &mut Plot, factor: f64) {
    match plot.harvest.as_mut().unwrap() {
        Harvest::Yield { quantity, .. } => *quantity = Yield::new(quantity.typed() * factor, quantity.unit()),
        Harvest::Weight { typed, kilograms, .. } => {
            *typed *= factor;
            *kilograms *= factor;
        }
    }
}

/// Changes the readings of some plots with an instrument on a day.
fn change_readings(
    trial: &mut Trial,
    instrument: Instrument,
    day: &str,
    is_meant: impl Fn(&Plot) -> bool,
    mut change: impl FnMut(&mut Reading),
) {
    let date: Date = day.parse().unwrap();
    let of_day = |reading: &&mut Reading| reading.instrument == instrument && reading.date == date;
    for reading in trial.readings.iter_mut().filter(of_day) {
        if is_meant(&trial.plots[reading.plot]) {
            change(reading);
        }
    }
}

/// Takes the row of a plot, with its readings, out of the files.
fn remove_plot(trial: &mut Trial, id: &str) {
    let gone = position(trial, id);
    trial.plots.remove(gone);
    trial.readings.retain(|reading| reading.plot != gone);
    for reading in trial.readings.iter_mut().filter(|reading| reading.plot > gone) {
        reading.plot -= 1;
    }
}
