//! What dates, timings, design, factors and need must agree on.

use std::collections::BTreeSet;

use jiff::civil::Date;

use super::descriptor::{Document, Supplied, Typed};
use super::nearest::suggestion;
use super::trial_descriptor::{ApplicationSection, TrialDescriptor};
use crate::finding::Finding;
use crate::trial::{Application, Design, Excluded, NeedFrom, Plot, Reading, Timing, sensings};

/// The factor that the variety column makes.
pub(super) const VARIETY: &str = "variety";

/// Names of what tells groups apart, which no factor of a user's can have.
const RESERVED: [&str; 3] = [VARIETY, "trial", "early_n"];

/// Reports what disagrees within the descriptor, before any data file is looked at.
pub(super) fn check_descriptor(document: &Document, descriptor: &TrialDescriptor) {
    check_names(document, &descriptor.applications);
    check_factors(document, descriptor);
    check_design(document, descriptor);
    check_reference(document, descriptor);
    check_topdress(document, descriptor);
}

fn check_names(document: &Document, applications: &[ApplicationSection]) {
    for (position, application) in applications.iter().enumerate() {
        let name = &application.name;
        if name.value == VARIETY {
            let fault = document.fault("duplicate-name", name, "\"variety\" is the name of another factor");
            document.report(fault.remedy("give the application a name of its own"));
        }
        if applications.iter().take(position).any(|earlier| earlier.name.value == name.value) {
            let fault =
                document.fault("duplicate-name", name, format!("another application is called {:?}", name.value));
            document.report(fault.remedy("give every application its own name"));
        }
    }
}

fn check_factors(document: &Document, descriptor: &TrialDescriptor) {
    let name = |typed: &Typed<String>| typed.value.trim().to_owned();
    let plots = descriptor.plots.as_ref();
    let mut taken: Vec<(String, String)> = Vec::new();
    if let Some(plots) = plots {
        taken.extend(plots.plot.iter().map(|column| (name(column), "the plot".to_owned())));
        taken.extend(plots.block.iter().map(|column| (name(column), "the block".to_owned())));
        taken.extend(plots.main_plot.iter().map(|column| (name(column), "the main plot".to_owned())));
        taken.extend(plots.strip.iter().map(|column| (name(column), "the strip".to_owned())));
        let variety = plots.variety.as_ref().and_then(Supplied::column);
        taken.extend(variety.map(|column| (name(column), "the variety".to_owned())));
    }
    for application in &descriptor.applications {
        let columns = [Some(&application.n), application.planned.as_ref()].into_iter().flatten();
        let columns = columns.filter_map(|section| section.rates.column());
        taken.extend(columns.map(|column| (name(column), format!("the N of {:?}", application.name.value))));
    }
    for (position, factor) in descriptor.factors.iter().enumerate() {
        let is_application = descriptor.applications.iter().any(|application| application.name.value == factor.value);
        let fault = if RESERVED.contains(&factor.value.as_str()) || is_application {
            let remedy = if factor.value == VARIETY {
                "give the variety with variety = … in [plots]"
            } else {
                "give the column, or the application, another name"
            };
            Some((format!("{:?} is the name of another factor", factor.value), remedy))
        } else if let Some((_, role)) = taken.iter().find(|(column, _)| *column == factor.value) {
            Some((format!("column {:?} holds {role} already", factor.value), "name a column of another factor"))
        } else if descriptor.factors.iter().take(position).any(|earlier| earlier.value == factor.value) {
            Some((format!("the factor {:?} is named twice", factor.value), "name every factor once"))
        } else {
            None
        };
        if let Some((text, remedy)) = fault {
            document.report(document.fault("duplicate-name", factor, text).remedy(remedy));
        }
    }
}

fn check_design(document: &Document, descriptor: &TrialDescriptor) {
    let (Some(design), Some(plots)) = (&descriptor.design, &descriptor.plots) else { return };
    if design.value != Design::CompletelyRandomised && plots.block.is_none() {
        let text = format!("a {} design has blocks, and no column holds them", design.value.name());
        document.report(document.fault("design-needs-blocks", design, text).remedy("add block = … to [plots]"));
    }
    let is_split = matches!(design.value, Design::SplitPlot { .. });
    let is_strip = matches!(design.value, Design::StripPlot { .. });
    let keys = [
        (is_split, &descriptor.main_plot, &plots.main_plot, "main plots", "main_plot", "split-plot"),
        (is_strip, &descriptor.strip, &plots.strip, "strips", "strip", "strip-plot"),
    ];
    for (is_of_design, names, column, what, key, name) in keys {
        for typed in column.iter().chain(names.first()).filter(|_| !is_of_design) {
            let text = format!("a {} design has no {what}", design.value.name());
            let fault = document.fault("conflicting-keys", typed, text);
            document.report(fault.remedy(format!("remove {key}, or write design = \"{name}\"")));
        }
        if is_of_design && names.is_empty() {
            let of = if is_strip { "strips that run one way" } else { "main plots" };
            let fault = document.fault("missing-key", design, format!("a {name} design names the factors of its {of}"));
            let remedy = format!("add {key} = [\"variety\"], or the name of an application or a factor");
            document.report(fault.remedy(remedy));
        }
    }
    let variety = matches!(&plots.variety, Some(Supplied::Column(_))).then_some(VARIETY);
    let varying = |application: &&ApplicationSection| matches!(application.n.rates, Supplied::Column(_));
    let applications =
        descriptor.applications.iter().filter(varying).map(|application| application.name.value.as_str());
    let others = descriptor.factors.iter().map(|factor| factor.value.as_str());
    let factors: Vec<&str> = variety.into_iter().chain(others).chain(applications).collect();
    let named = if is_split { &descriptor.main_plot } else { &descriptor.strip };
    for name in named.iter().filter(|name| (is_split || is_strip) && !factors.contains(&name.value.as_str())) {
        let text = format!("{:?} is no factor of this trial", name.value);
        let remedy = suggestion(&name.value, "what varies among its plots is", factors.iter().copied());
        document.report(document.fault("unknown-factor", name, text).remedy(remedy));
    }
}

fn check_reference(document: &Document, descriptor: &TrialDescriptor) {
    let (Some(reference), Some(plots)) = (&descriptor.reference, &descriptor.plots) else { return };
    for name in &reference.shared_names {
        let known = if name.value == VARIETY { plots.variety.is_some() } else { plots.block.is_some() };
        if !known {
            let text = format!("[plots] does not say the {} of a plot", name.value);
            document
                .report(document.fault("missing-key", name, text).remedy(format!("add {} = … to [plots]", name.value)));
        }
    }
}

fn check_topdress(document: &Document, descriptor: &TrialDescriptor) {
    let mut decided =
        descriptor.applications.iter().filter(|application| application.timing.value == Timing::DecidedBySensing);
    let first = decided.next();
    for other in decided {
        let fault =
            document.fault("several-topdresses", &other.timing, "sensing decides two applications of this trial");
        document.report(fault.remedy("one application is decided-by-sensing, the N after it after-sensing"));
    }
    if let Some(need) = &descriptor.need_from
        && need.value == NeedFrom::TopdressResponse
        && first.is_none()
    {
        let text = "no topdress: no application is decided by sensing, so there is no topdress response";
        let remedy =
            "give the topdress timing = \"decided-by-sensing\", or write need_from = \"difference-from-optimum\"";
        document.report(document.fault("no-topdress", need, text).remedy(remedy));
    }
    if let Some(topdress) = first {
        for application in &descriptor.applications {
            let (date, decided) = (application.date.value, topdress.date.value);
            let wrong = match application.timing.value {
                Timing::BeforeSensing if date > decided => "after",
                Timing::AfterSensing if date < decided => "before",
                _ => continue,
            };
            let text = format!(
                "{:?} is {} but went on {date}, {wrong} the topdress that sensing decided ({decided})",
                application.name.value,
                application.timing.value.name()
            );
            let fault = document.fault("timing-contradicts-dates", &application.timing, text);
            document.report(fault.remedy("correct the date or the timing"));
        }
    }
}

/// Every day that a plot was sensed on.
pub(super) fn sensing_dates(readings: &[Reading]) -> BTreeSet<Date> {
    sensings(readings).into_iter().map(|(_, date)| date).collect()
}

/// Checks timings against the days that the plots were sensed on.
///
/// - An application on a sensing day must say which came first.
/// - `before-sensing` is on before the last sensing at the latest; `decided-by-sensing` and `after-sensing` come after the
///   first.
/// - N younger than `days_to_show` at a sensing draws a warning.
pub(super) fn check_dates(
    document: &Document,
    descriptor: &TrialDescriptor,
    applications: &[Application],
    sensing: &BTreeSet<Date>,
    days_to_show: i32,
    warnings: &mut Vec<Finding>,
) {
    let (Some(first), Some(last)) = (sensing.first(), sensing.last()) else { return };
    if let Some(planting) = descriptor.background.planting_date.as_ref().filter(|planting| planting.value > *first) {
        let text = format!("the crop was planted on {}, after plots were sensed ({first})", planting.value);
        document.report(document.fault("planted-after-sensing", planting, text).remedy("correct the date"));
    }
    for (application, typed) in applications.iter().zip(&descriptor.applications) {
        let (name, date) = (&application.name, application.date);
        if sensing.contains(&date) && application.same_day.is_none() {
            let text = format!("{name:?} went on on a day when plots were sensed, {date}");
            let remedy = "add same_day = \"before\" if it went on before the sensing, else same_day = \"after\"";
            document.report(document.fault("same-day", &typed.date, text).remedy(remedy));
            continue;
        }
        let on = |day: &&Date| application.is_on(**day);
        let contradiction = match application.timing {
            Timing::BeforeSensing if !sensing.iter().any(|day| on(&day)) => {
                Some(format!("after every reading (the last is of {last})"))
            }
            Timing::DecidedBySensing | Timing::AfterSensing if sensing.iter().all(|day| on(&day)) => {
                Some(format!("before every reading (the first is of {first})"))
            }
            _ => None,
        };
        if let Some(contradiction) = contradiction {
            let text = format!("{name:?} is {} but went on {date}, {contradiction}", application.timing.name());
            let fault = document.fault("timing-contradicts-dates", &typed.timing, text);
            document.report(fault.remedy("correct the date or the timing"));
            continue;
        }
        for day in sensing.iter().filter(on) {
            let days = day.duration_since(date).as_hours() / 24;
            if days < i64::from(days_to_show) {
                let text = format!(
                    "{name:?} went on {days} days before the sensing of {day}: it may not show in the canopy yet"
                );
                let warning = document.warning("young-nitrogen", &typed.date, text);
                warnings
                    .push(warning.remedy(format!("readings less than {days_to_show} days after N are read with care")));
            }
        }
    }
}

/// Warns of dates that do not belong to the season of the harvest year: that year and the one before.
pub(super) fn check_harvest_year(
    document: &Document,
    descriptor: &TrialDescriptor,
    sensing: &BTreeSet<Date>,
    warnings: &mut Vec<Finding>,
) {
    let Some(year) = &descriptor.harvest_year else { return };
    let season = year.value - 1..=year.value;
    let applied = descriptor.applications.iter().map(|application| {
        (application.date.value, format!("{:?} went on {}", application.name.value, application.date.value))
    });
    let sensed = sensing.iter().map(|day| (*day, format!("plots were sensed on {day}")));
    let planted = descriptor.background.planting_date.as_ref();
    let planted = planted.map(|date| (date.value, format!("the crop was planted on {}", date.value)));
    for (_, what) in applied.chain(sensed).chain(planted).filter(|(date, _)| !season.contains(&date.year())) {
        let text = format!("{what}, which is not the season of a harvest in {}", year.value);
        let warning = document.warning("other-season", year, text);
        warnings.push(warning.remedy("correct the harvest year or the date"));
    }
}

/// Refuses N after the decided topdress that differs among the plots whose yields make the response.
pub(super) fn check_late_nitrogen(document: &Document, descriptor: &TrialDescriptor, plots: &[Plot]) {
    let reference_counts = descriptor.reference.as_ref().is_some_and(|reference| reference.also_treatment);
    let in_response = |plot: &&Plot| {
        (reference_counts || !plot.is_reference)
            && plot.excluded(Excluded::Plot).is_none()
            && plot.excluded(Excluded::Yield).is_none()
    };
    for (position, application) in descriptor.applications.iter().enumerate() {
        if application.timing.value != Timing::AfterSensing {
            continue;
        }
        let responding: Vec<&Plot> = plots.iter().filter(in_response).collect();
        let Some(one) = responding.first() else { continue };
        if let Some(other) = responding.iter().find(|plot| plot.rates.get(position) != one.rates.get(position)) {
            let text = format!(
                "{:?} went on after the topdress and differs among plots ({} and {}), so no response is the topdress's alone",
                application.name.value, one.id, other.id
            );
            let fault = document.fault("late-nitrogen-varies", &application.name, text);
            document.report(
                fault.remedy("hold N after sensing constant, or leave the trial out with a reason in leave_out"),
            );
        }
    }
}
