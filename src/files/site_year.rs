//! One trial folder: its descriptor and data files made into a trial.

use super::descriptor::{Document, Typed};
use super::folder::{Folder, TrialFolder};
use super::join::KeyIndex;
use super::knowledge_descriptor::{Amount, BackgroundSection};
use super::plates;
use super::plots::{self, FromProgramme};
use super::readings;
use super::timing;
use super::trial_descriptor::{self, TrialDescriptor};
use crate::finding::{Finding, Place};
use crate::trial::{Application, Background, Design, Reference, SoilNitrate, Trial};
use crate::units::NRate;

/// The name of a trial's descriptor.
pub(super) const DESCRIPTOR: &str = "trial.toml";

/// Reads the trial in folder `name`; errors and warnings go to `findings`, and there is a trial if there was no error.
pub(super) fn read(
    folder: &mut Folder,
    name: &str,
    programme: FromProgramme,
    findings: &mut Vec<Finding>,
) -> Option<Trial> {
    let path = format!("{name}/{DESCRIPTOR}");
    let text = super::cell::keep(folder.text(&path), findings)?;
    let document = Document::new(&path, text);
    let mut data_findings = Vec::new();
    let mut trial = TrialFolder { folder, name: name.to_owned() };
    let read = trial_descriptor::read(&document)
        .and_then(|descriptor| with_data(&document, &descriptor, &mut trial, programme, &mut data_findings));
    let is_sound = document.is_sound();
    findings.extend(document.into_findings());
    findings.append(&mut data_findings);
    read.filter(|_| is_sound)
}

fn with_data(
    document: &Document,
    descriptor: &TrialDescriptor,
    trial: &mut TrialFolder,
    programme: FromProgramme,
    findings: &mut Vec<Finding>,
) -> Option<Trial> {
    // Questions across keys are asked only of what is sound so far: a fault would answer them wrongly.
    if document.is_sound() {
        timing::check_descriptor(document, descriptor);
    }
    let section = descriptor.plots.as_ref()?;
    let table = trial.table(document, &section.file, findings);
    let table = table.filter(|table| {
        let elsewhere = table.headers_elsewhere(section.plot.iter().chain(&section.block));
        findings.extend(elsewhere.clone());
        elsewhere.is_none()
    });
    // Other data files are checked even if the plots file is broken.
    let Some(table) = table else { return check_reading_files(document, descriptor, trial, findings) };
    let keys = plots::plot_keys(document, descriptor, &table, findings);
    let plots = plots::read(document, descriptor, &table, keys.as_ref().map(KeyIndex::parts), programme, findings);
    let readings = readings::read(document, descriptor, trial, &table, keys.as_ref(), findings);
    let plates = plates::read(document, &descriptor.plates, trial, findings);
    let applications = applications(descriptor, programme)?;
    if let Some(readings) = readings.as_ref().filter(|_| document.is_sound()) {
        let sensing = timing::sensing_dates(&readings.readings);
        let days = programme.days_to_show_in_canopy;
        timing::check_dates(document, descriptor, &applications, &sensing, days, findings);
        timing::check_harvest_year(document, descriptor, &sensing, findings);
    }
    let (plots, readings, plate_checks) = (plots?, readings?, plates?);
    if document.is_sound() {
        findings.extend(what_is_absent(document, descriptor, programme));
        timing::check_late_nitrogen(document, descriptor, &plots);
    }
    let names = |typed: &[Typed<String>]| typed.iter().map(|name| name.value.clone()).collect();
    let design = match descriptor.design.as_ref()?.value.clone() {
        Design::SplitPlot { .. } => Design::SplitPlot { main_plot: names(&descriptor.main_plot) },
        Design::StripPlot { .. } => Design::StripPlot { strip: names(&descriptor.strip) },
        design => design,
    };
    Some(Trial {
        folder: trial.name.clone(),
        site: descriptor.site.clone()?,
        harvest_year: descriptor.harvest_year.as_ref()?.value,
        design,
        need_from: descriptor.need_from.as_ref()?.value,
        descriptor: document.file().to_owned(),
        plots_file: table.file().to_owned(),
        plot_columns: plots::plot_columns(descriptor),
        background: background(&descriptor.background, programme)?,
        applications,
        factors: descriptor.factors.iter().map(|factor| factor.value.clone()).collect(),
        reference: descriptor.reference.as_ref().map(|reference| Reference {
            also_treatment: reference.also_treatment,
            shared_within: reference.shared_within,
        }),
        plots,
        readings: readings.readings,
        reading_files: readings.files,
        reading_columns: readings.columns,
        leaf_positions: readings.leaf_positions,
        flagged_leaves: programme.flagged_leaves,
        walks: readings.walks,
        plate_checks,
    })
}

/// Without plots there is no trial, but the faults of the files of readings can still be told.
fn check_reading_files(
    document: &Document,
    descriptor: &TrialDescriptor,
    trial: &mut TrialFolder,
    findings: &mut Vec<Finding>,
) -> Option<Trial> {
    for file in descriptor.readings.iter().filter_map(|section| section.file.as_ref()) {
        trial.table(document, file, findings);
    }
    None
}

fn applications(descriptor: &TrialDescriptor, programme: FromProgramme) -> Option<Vec<Application>> {
    let application = |section: &trial_descriptor::ApplicationSection| {
        Some(Application {
            name: section.name.value.clone(),
            unit: section.n.unit.or(programme.n_rate)?,
            product: section.product.clone(),
            n_percent: section.n.n_percent,
            date: section.date.value,
            stage: section.stage.clone(),
            timing: section.timing.value,
            same_day: section.same_day,
        })
    };
    descriptor.applications.iter().map(application).collect()
}

/// `None` where an amount is in a unit that the programme got wrong.
fn background(section: &BackgroundSection, programme: FromProgramme) -> Option<Background> {
    let rate = |amount: &Amount| Some(NRate::new(amount.n, amount.unit.or(programme.n_rate)?));
    let manure_credit = match &section.manure_credit {
        Some(amount) => Some(rate(amount)?),
        None => None,
    };
    let spring_soil_nitrate = match &section.spring_soil_nitrate {
        Some((amount, depth_metres)) => Some(SoilNitrate { n: rate(amount)?, depth_metres: *depth_metres }),
        None => None,
    };
    Some(Background {
        planting_date: section.planting_date.as_ref().map(|date| date.value),
        preceding_crop: section.preceding_crop.clone(),
        manure_credit,
        spring_soil_nitrate,
        weather_notes: section.weather_notes.clone(),
    })
}

/// Warnings about pieces that a trial can do without, with what it can't do then.
fn what_is_absent(document: &Document, descriptor: &TrialDescriptor, programme: FromProgramme) -> Vec<Finding> {
    let warning = |code, key: &str, text: String, remedy: &str| {
        Finding::warning(code, Place::file(document.file()).column(key), text).remedy(remedy)
    };
    let mut warnings = Vec::new();
    match &descriptor.harvest {
        None => warnings.push(warning("no-harvest", "harvest", "there are no yields".to_owned(), "add [harvest]")),
        Some(harvest) if harvest.moisture.is_none() => {
            if let Some(standard) = programme.standard_moisture {
                let text = format!(
                    "the moisture of the yields is not given, so they can't be brought to {} %",
                    standard.percent()
                );
                let remedy = "add moisture = … to [harvest], or moisture_percent = … to the yield";
                warnings.push(warning("no-moisture", "harvest.moisture", text, remedy));
            }
        }
        Some(_) => {}
    }
    if descriptor.reference.is_none() && !descriptor.readings.is_empty() {
        let text = "there is no N-rich reference, so its readings give no index".to_owned();
        warnings.push(warning(
            "no-reference",
            "reference",
            text,
            "add [reference] with where = { column = …, equals = … }",
        ));
    }
    warnings
}
