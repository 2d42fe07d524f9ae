//! Trials of one programme that contradict each other.

use std::collections::BTreeMap;

use super::harvested::{first_harvest, median_kilograms_per_hectare, wrong_unit};
use super::spelling::{is_slip, same_name};
use super::view::View;
use super::words::{count, list, rounded, typed};
use crate::finding::{Finding, Place};
use crate::sensing::{NoDate, choose_date};
use crate::trial::{Harvest, Instrument, Plot, Programme, Trial};

/// No site-year yields so many times as much as the others' middle (common practice); a wrong unit or area does.
const YIELD_FACTOR: f64 = 5.0;
/// No season's leaf readings lie at so many times the others' middle (common practice: 20 to 60); another scale does.
const LEAF_FACTOR: f64 = 2.0;
/// A closed canopy reads at most so many times the NDVI of an open one at its last sensing (0.2 to 0.9: common practice).
const NDVI_FACTOR: f64 = 5.0;
/// The middle of the others is that of at least so many trials.
const FEWEST_OTHERS: usize = 2;
/// Yields of so many plots don't agree by chance.
const FEWEST_SAME_YIELDS: usize = 4;

/// Pairs of trials, the earlier first.
fn pairs(trials: &[Trial]) -> impl Iterator<Item = (&Trial, &Trial)> {
    trials
        .iter()
        .enumerate()
        .flat_map(|(position, later)| trials.iter().take(position).map(move |earlier| (earlier, later)))
}

fn is_same_site_year(a: &Trial, b: &Trial) -> bool {
    a.harvest_year == b.harvest_year && (a.site == b.site || same_name(&a.site, &b.site))
}

/// The digest of a trial's plots file.
fn digest<'p>(programme: &'p Programme, trial: &Trial) -> Option<&'p str> {
    programme.inputs.iter().find(|input| input.file == trial.plots_file).map(|input| input.sha256.as_str())
}

/// Two trials of one site in one harvest year: they are one site-year, and are held out together.
pub(super) fn same_site_year(programme: &Programme) -> Vec<Finding> {
    let found = pairs(&programme.trials).filter(|(earlier, later)| is_same_site_year(earlier, later));
    let found = found.map(|(earlier, later)| {
        let digest = |trial| digest(programme, trial);
        let copied = if digest(later).is_some() && digest(later) == digest(earlier) {
            ", with the same plots file, byte by byte"
        } else {
            ""
        };
        let text = format!("{} is of the site-year {} too{copied}", earlier.folder, later.site_year());
        let place = Place::file(&later.descriptor).column("site").value(&later.site);
        let remedy = "two trials of one site-year are not two witnesses: correct the site or the year, or leave one out with its reason";
        Finding::warning("same-site-year", place, text).remedy(remedy)
    });
    found.collect()
}

/// A day that two harvest years share: a descriptor was copied, and its dates or its year were not changed.
pub(super) fn same_dates(programme: &Programme) -> Vec<Finding> {
    let dates = |trial: &Trial| {
        let applied = trial.applications.iter().map(|application| application.date);
        let mut dates: Vec<_> = applied.chain(trial.readings.iter().map(|reading| reading.date)).collect();
        dates.sort_unstable();
        dates.dedup();
        dates
    };
    let of_trials: Vec<(&Trial, Vec<_>)> = programme.trials.iter().map(|trial| (trial, dates(trial))).collect();
    let mut findings = Vec::new();
    for (position, (later, own)) in of_trials.iter().enumerate() {
        let others = of_trials.iter().take(position).filter(|(earlier, _)| earlier.harvest_year != later.harvest_year);
        for (earlier, dates) in others {
            let Some(date) = own.iter().find(|date| dates.contains(date)) else { continue };
            let text = format!("{date} is a day of {}, harvested in {}, too", earlier.folder, earlier.harvest_year);
            let place = Place::file(&later.descriptor).column("harvest_year").value(later.harvest_year.to_string());
            let remedy = "one of the two was copied: correct its harvest year or its dates";
            findings.push(Finding::warning("same-dates", place, text).remedy(remedy));
        }
    }
    findings
}

/// Data files of one content under two names; those of trials that are told as one site-year apart.
pub(super) fn same_file(programme: &Programme) -> Vec<Finding> {
    let trial_of = |file: &str| {
        let within = |trial: &&Trial| file.split('/').next() == Some(trial.folder.as_str());
        programme.trials.iter().find(within)
    };
    let mut seen: BTreeMap<&str, &str> = BTreeMap::new();
    let mut findings = Vec::new();
    for input in programme.inputs.iter().filter(|input| !input.file.ends_with(".toml")) {
        let Some(first) = seen.get(input.sha256.as_str()) else {
            seen.insert(&input.sha256, &input.file);
            continue;
        };
        if trial_of(first).zip(trial_of(&input.file)).is_some_and(|(one, other)| is_same_site_year(one, other)) {
            continue;
        }
        let text = format!("it holds the same bytes as {first}");
        let place = Place::file(&input.file);
        findings
            .push(Finding::warning("same-file", place, text).remedy("put the file of the right trial in its place"));
    }
    findings
}

fn typed_harvest(plot: &Plot) -> Option<f64> {
    match plot.harvest? {
        Harvest::Yield { quantity, .. } => Some(quantity.typed()),
        Harvest::Weight { typed, .. } => Some(typed),
    }
}

/// Two trials with the same yields plot by plot, in files that differ otherwise.
pub(super) fn same_yields(programme: &Programme) -> Vec<Finding> {
    let yields = |trial: &Trial| trial.plots.iter().filter_map(typed_harvest).map(f64::to_bits).collect::<Vec<_>>();
    let digest = |trial| digest(programme, trial);
    let same = pairs(&programme.trials).filter(|(earlier, later)| {
        let own = yields(later);
        // Files of the same bytes are told already.
        own.len() >= FEWEST_SAME_YIELDS
            && own == yields(earlier)
            && (digest(later).is_none() || digest(later) != digest(earlier))
    });
    let found = same.map(|(earlier, later)| {
        let text = format!("the yields are those of {}, plot by plot", earlier.folder);
        let place = match &later.plot_columns.harvest {
            Some(column) => first_harvest(&View::of(later, &programme.crop, &programme.units), column),
            None => Place::file(&later.plots_file),
        };
        Finding::warning("same-yields", place, text).remedy("put the yields of the right trial in this column")
    });
    found.collect()
}

/// A variety spelt another way in another trial: the same but for case, spaces and punctuation, or one letter off and in one trial only.
pub(super) fn two_spellings(programme: &Programme) -> Vec<Finding> {
    let mut trials_of: BTreeMap<&str, Vec<(&Trial, &Plot)>> = BTreeMap::new();
    for trial in &programme.trials {
        for plot in &trial.plots {
            let Some(variety) = plot.variety.as_deref() else { continue };
            let trials = trials_of.entry(variety).or_default();
            if trials.iter().all(|(known, _)| known.folder != trial.folder) {
                trials.push((trial, plot));
            }
        }
    }
    let mut names: Vec<(&str, Vec<(&Trial, &Plot)>)> = trials_of.into_iter().collect();
    names.sort_by_key(|(_, trials)| std::cmp::Reverse(trials.len()));
    let mut findings = Vec::new();
    for (position, (rare, trials)) in names.iter().enumerate() {
        let commoner = names.iter().take(position).find(|(common, of_common)| {
            same_name(rare, common) || (trials.len() == 1 && of_common.len() > 1 && is_slip(rare, common))
        });
        let Some((common, of_common)) = commoner else { continue };
        for (trial, plot) in trials {
            // Both in one trial: told for that trial.
            if of_common.iter().any(|(other, _)| other.folder == trial.folder) {
                continue;
            }
            let folders: Vec<&str> = of_common.iter().map(|(trial, _)| trial.folder.as_str()).collect();
            let text = format!("variety is spelt {rare:?} here and {common:?} in {}: it counts as two", list(&folders));
            let place = match &trial.plot_columns.variety {
                Some(column) => Place::file(&trial.plots_file).row(plot.row).column(column),
                None => Place::file(&trial.descriptor).column("plots.variety"),
            };
            findings.push(
                Finding::warning("two-spellings", place.value(*rare), text)
                    .remedy("spell a variety one way in all trials"),
            );
        }
    }
    findings
}

/// The middle of at least one value.
fn middle(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// A value against the middle of the others, where it is beyond `factor` of it: the middle.
fn unlike(own: f64, others: impl Iterator<Item = f64>, factor: f64) -> Option<f64> {
    let mut others: Vec<f64> = others.collect();
    if others.len() < FEWEST_OTHERS {
        return None;
    }
    let middle = middle(&mut others)?;
    (own > factor * middle || own * factor < middle).then_some(middle)
}

/// A trial whose median yield is five times as high or as low as the middle of the others: its unit, its area or its bushel is another.
pub(super) fn unlike_yields(programme: &Programme) -> Vec<Finding> {
    let views = programme.trials.iter().map(|trial| View::of(trial, &programme.crop, &programme.units));
    let medians: Vec<_> = views
        .filter_map(|view| Some((median_kilograms_per_hectare(&view)?, wrong_unit(&view).is_empty(), view.trial)))
        .collect();
    let bushel = programme.crop.pounds_per_bushel;
    let unit = programme.units.yields;
    let Ok(kilograms) = unit.kilograms_per_hectare(bushel) else { return Vec::new() };
    let mut findings = Vec::new();
    for (own, is_plausible, trial) in &medians {
        let others = medians.iter().filter(|(.., other)| other.folder != trial.folder).map(|(median, ..)| *median);
        // An implausible yield is told for its trial.
        let Some(middle) = unlike(*own, others, YIELD_FACTOR).filter(|_| *is_plausible) else { continue };
        let text = format!(
            "the median yield, {} {unit}, is {} times the middle of the other trials, {} {unit}",
            rounded(own / kilograms),
            rounded(own / middle),
            rounded(middle / kilograms)
        );
        let place = match &trial.plot_columns.harvest {
            Some(column) => first_harvest(&View::of(trial, &programme.crop, &programme.units), column),
            None => Place::file(&trial.descriptor).column("harvest"),
        };
        findings.push(
            Finding::warning("unlike-yields", place, text)
                .remedy("check the unit of the yield, or the harvested area and its unit"),
        );
    }
    findings
}

/// A trial whose readings with an instrument lie on another scale than those of the other trials: leaf readings at twice or half the middle of
/// the others, NDVI of the last sensing at five times or a fifth.
pub(super) fn unlike_readings(programme: &Programme) -> Vec<Finding> {
    let mut findings = Vec::new();
    for instrument in Instrument::ALL {
        let factor = match instrument {
            Instrument::LeafChlorophyll => LEAF_FACTOR,
            Instrument::CanopyNdvi => NDVI_FACTOR,
        };
        let median = |trial: &Trial| {
            let of_instrument = || trial.readings.iter().filter(|reading| reading.instrument == instrument);
            let last = of_instrument().map(|reading| reading.date).max()?;
            let mut values: Vec<f64> =
                of_instrument().filter(|reading| reading.date == last).map(|reading| reading.value).collect();
            middle(&mut values)
        };
        let medians: Vec<(&Trial, f64)> =
            programme.trials.iter().filter_map(|trial| Some((trial, median(trial)?))).collect();
        for (trial, own) in &medians {
            let others = medians.iter().filter(|(other, _)| other.folder != trial.folder).map(|(_, median)| *median);
            let Some(middle) = unlike(*own, others, factor) else { continue };
            let Some(reading) = trial.readings.iter().find(|reading| reading.instrument == instrument) else {
                continue;
            };
            let text = format!(
                "the {} readings lie around {} and those of the other trials around {}",
                instrument.name(),
                rounded(*own),
                rounded(middle)
            );
            let place = trial.place_of(reading).value(typed(reading.value));
            let remedy = "check the column and the scale of the instrument; an index holds only within one scale";
            findings.push(Finding::warning("unlike-readings", place, text).remedy(remedy));
        }
    }
    findings
}

/// Readings inside the stages of a table that were all taken after the topdress they should decide.
pub(super) fn after_topdress(programme: &Programme) -> Vec<Finding> {
    let mut findings = Vec::new();
    for table in &programme.tables {
        for trial in &programme.trials {
            if choose_date(trial, table) != Err(NoDate::AfterTopdress) {
                continue;
            }
            let (first, last) = &table.stages;
            let inside = trial.readings.iter().filter(|reading| {
                reading.instrument == table.instrument
                    && reading.stage.as_ref().is_some_and(|stage| stage.is_within(first, last) == Some(true))
            });
            let inside: Vec<_> = inside.collect();
            let Some(reading) = inside.first() else { continue };
            let text = format!(
                "{} of {first} to {last}, the stages of table {:?}, were all taken after the topdress that they should decide",
                count(inside.len(), "reading"),
                table.name
            );
            let place = trial.place_of(reading).value(typed(reading.value));
            let remedy = "correct the date of the readings or of the topdress; as they stand the trial does not enter this table";
            findings.push(Finding::warning("readings-after-topdress", place, text).remedy(remedy));
        }
    }
    findings
}
