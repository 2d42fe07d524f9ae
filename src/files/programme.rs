//! A programme folder: its descriptor and every trial that takes part.

use std::collections::BTreeSet;
use std::path::Path;

use jiff::civil::Date;

use super::Loaded;
use super::descriptor::{Document, Typed};
use super::folder::Folder;
use super::gathered::gathered;
use super::nearest::{nearest, suggestion};
use super::plots::FromProgramme;
use super::programme_descriptor::{self, ProgrammeDescriptor, TableSection};
use super::site_year;
use crate::finding::{Finding, Place, Severity};
use crate::trial::{LeftOut, Programme, Reading, Timing, Trial};

/// The name of a programme's descriptor.
pub(super) const DESCRIPTOR: &str = "programme.toml";

/// What the names of data files end in.
const DATA: [&str; 6] = ["csv", "tsv", "txt", "xlsx", "xlsm", "parquet"];

/// Reads the programme in `root`, with all its trials or with the one in folder `only`.
pub(super) fn read(root: &Path, only: Option<&str>) -> Result<Loaded<Programme>, Vec<Finding>> {
    let mut folder = Folder::new(root);
    let mut findings = Vec::new();
    let text = folder.text(DESCRIPTOR).map_err(|finding| {
        vec![finding.remedy("a programme is a folder with a programme.toml; trials are folders within it")]
    })?;
    let document = Document::new(DESCRIPTOR, text);
    // Without units and a list of what is left out, trials can't be read fairly.
    let Some(descriptor) = programme_descriptor::read(&document) else { return Err(document.into_findings()) };
    let present = folder.folders().map_err(|finding| vec![finding])?;
    let trial_folders: Vec<String> =
        present.iter().filter(|name| folder.has(&format!("{name}/{}", site_year::DESCRIPTOR))).cloned().collect();
    let left_out = match only {
        Some(_) => Vec::new(),
        None => read_left_out(&document, &descriptor, &present, &trial_folders),
    };
    if only.is_none() {
        let others = present.iter().filter(|name| !trial_folders.contains(name));
        let others = others.filter(|name| left_out.iter().all(|left_out| left_out.folder != **name));
        findings.extend(others.filter_map(|name| no_descriptor(&folder, name)));
    }
    let taking_part: Vec<&str> = match only {
        Some(only) => vec![only],
        None => {
            let is_in = |name: &&str| left_out.iter().all(|left_out: &LeftOut| left_out.folder != *name);
            trial_folders.iter().map(String::as_str).filter(is_in).collect()
        }
    };
    if taking_part.is_empty() {
        findings.push(
            Finding::error("no-trials", Place::file(DESCRIPTOR), "no trial takes part in this programme")
                .remedy("a trial is a folder beside programme.toml that holds a trial.toml"),
        );
    }
    let from_programme = FromProgramme {
        crop: descriptor.crop.as_ref(),
        n_rate: descriptor.units.map(|units| units.n_rate),
        yields: descriptor.units.map(|units| units.yields),
        standard_moisture: descriptor.units.and_then(|units| units.standard_moisture),
        days_to_show_in_canopy: descriptor.decisions.days_to_show_in_canopy,
        flagged_leaves: descriptor.decisions.flagged_leaves,
    };
    let mut trials: Vec<Trial> = taking_part
        .iter()
        .filter_map(|name| site_year::read(&mut folder, name, from_programme, &mut findings))
        .collect();
    trials.sort_by(|a, b| (a.harvest_year, &a.folder).cmp(&(b.harvest_year, &b.folder)));
    for table in &descriptor.tables {
        check_sensing_dates(&document, table, &trials, &taking_part, only.is_none());
    }
    if only.is_none() {
        for (folder, _) in &descriptor.site_year_weights {
            check_takes_part(&document, folder, &taking_part);
        }
    }
    let mut all = document.into_findings();
    all.append(&mut findings);
    let all = gathered(all);
    if all.iter().any(|finding| finding.severity == Severity::Error) {
        return Err(all);
    }
    match programme(descriptor, trials, left_out, folder) {
        Some(value) => Ok(Loaded { value, warnings: all }),
        None => Err(all),
    }
}

fn programme(
    descriptor: ProgrammeDescriptor,
    trials: Vec<Trial>,
    left_out: Vec<LeftOut>,
    folder: Folder,
) -> Option<Programme> {
    Some(Programme {
        title: descriptor.title?,
        crop: descriptor.crop?,
        currency: descriptor.currency?,
        units: descriptor.units?,
        prices: descriptor.prices,
        decisions: descriptor.decisions,
        site_year_weights: descriptor
            .site_year_weights
            .into_iter()
            .map(|(folder, weight)| (folder.value, weight))
            .collect(),
        tables: descriptor.tables.into_iter().map(|table| table.specification).collect(),
        trials,
        left_out,
        inputs: folder.inputs(),
    })
}

/// A warning about a folder that looks like a trial's and has no descriptor.
fn no_descriptor(folder: &Folder, name: &str) -> Option<Finding> {
    let files = folder.files(name);
    // Hidden folders are not the user's, and a season's own folder holds results.
    if name.starts_with('.') || files.iter().any(|file| file == "provenance.json") {
        return None;
    }
    let is_data = |file: &&String| {
        let extension = file.rsplit_once('.').map(|(_, extension)| extension.to_lowercase());
        extension.is_some_and(|extension| DATA.contains(&extension.as_str()))
    };
    let descriptors = files.iter().map(String::as_str).filter(|file| file.to_lowercase().ends_with(".toml"));
    let (text, remedy) = if let Some(near) = nearest(site_year::DESCRIPTOR, descriptors) {
        (
            format!("the folder holds {near:?} and no trial.toml, so it takes no part"),
            format!("rename {near:?} to trial.toml"),
        )
    } else {
        let data = files.iter().find(is_data)?;
        let text = format!("the folder holds {data:?} and no trial.toml, so it takes no part");
        (text, format!("add a trial.toml, or leave the folder out: leave_out = {{ {name:?} = \"…\" }}"))
    };
    Some(Finding::warning("no-descriptor", Place::file(name), text).remedy(remedy))
}

fn read_left_out(
    document: &Document,
    descriptor: &ProgrammeDescriptor,
    present: &[String],
    trial_folders: &[String],
) -> Vec<LeftOut> {
    let mut left_out = Vec::new();
    for (folder, reason) in &descriptor.leave_out {
        let mut name = folder.value.as_str();
        if !present.contains(&folder.value) {
            let text = format!("there is no folder {:?} to leave out", folder.value);
            let remedy = suggestion(&folder.value, "the trial folders are", trial_folders.iter().map(String::as_str));
            document.report(document.fault("unknown-folder", folder, text).remedy(remedy));
            // What was meant is left out all the same, so that its own faults don't bury this one.
            name = nearest(name, trial_folders.iter().map(String::as_str)).unwrap_or(name);
        }
        left_out.push(LeftOut { folder: name.to_owned(), reason: reason.clone() });
    }
    left_out
}

/// The days a trial was sensed on with a table's instrument inside its stage window, before the topdress it decides.
fn qualifying_dates(table: &TableSection, trial: &Trial) -> BTreeSet<Date> {
    let topdress = trial.applications.iter().find(|application| application.timing == Timing::DecidedBySensing);
    let (first, last) = &table.specification.stages;
    // Neighbours of one day and stage are asked once.
    let alike = |a: &Reading, b: &Reading| (a.instrument, a.date) == (b.instrument, b.date) && a.stage == b.stage;
    let readings = trial.readings.chunk_by(alike).filter_map(|readings| readings.first());
    let readings = readings.filter(|reading| reading.instrument == table.specification.instrument);
    let in_window = readings
        .filter(|reading| reading.stage.as_ref().is_some_and(|stage| stage.is_within(first, last).unwrap_or(false)));
    let undecided = |date: &Date| topdress.is_none_or(|topdress| !topdress.is_on(*date));
    in_window.map(|reading| reading.date).filter(undecided).collect()
}

/// Refuses several sensing dates in a table's window until one is chosen, and a choice of what was not sensed.
fn check_sensing_dates(
    document: &Document,
    table: &TableSection,
    trials: &[Trial],
    taking_part: &[&str],
    all_trials: bool,
) {
    for (folder, date) in &table.sensing_dates {
        if !taking_part.contains(&folder.value.as_str()) {
            if all_trials {
                check_takes_part(document, folder, taking_part);
            }
            continue;
        }
        // A trial that could not be read has its own findings.
        let Some(trial) = trials.iter().find(|trial| trial.folder == folder.value) else { continue };
        let dates = qualifying_dates(table, trial);
        if !dates.contains(&date.value) {
            let text = format!("{} was not sensed on {} inside the table's stages", folder.value, date.value);
            document.report(
                document.fault("unknown-value", date, text).remedy(format!("choose one of: {}", joined(&dates))),
            );
        }
    }
    for trial in trials.iter().filter(|trial| !table.specification.sensing_dates.contains_key(&trial.folder)) {
        let dates = qualifying_dates(table, trial);
        if let (true, Some(first)) = (dates.len() > 1, dates.first()) {
            let text =
                format!("{} was sensed on several days inside the table's stages: {}", trial.folder, joined(&dates));
            let remedy = format!("choose one: sensing_dates = {{ \"{}\" = {first} }} in [[table]]", trial.folder);
            document.report(document.fault("several-sensing-dates", &table.name, text).remedy(remedy));
        }
    }
}

/// Reports a name that is no trial's that takes part.
fn check_takes_part(document: &Document, folder: &Typed<String>, taking_part: &[&str]) {
    if !taking_part.contains(&folder.value.as_str()) {
        let text = format!("no trial {:?} takes part", folder.value);
        let remedy = suggestion(&folder.value, "the trials are", taking_part.iter().copied());
        document.report(document.fault("unknown-folder", folder, text).remedy(remedy));
    }
}

fn joined(dates: &BTreeSet<Date>) -> String {
    if dates.is_empty() {
        return "none".to_owned();
    }
    dates.iter().map(Date::to_string).collect::<Vec<_>>().join(", ")
}
