//! The N-rich reference: there, rich, read, and above its plots.

use std::collections::{BTreeMap, BTreeSet};

use super::additive::Additive;
use super::sensed::{Read, Sensed};
use super::view::{Source, View};
use super::words::{count, list, p_value, rounded, typed};
use crate::finding::{Finding, Place};
use crate::stats::distribution::t_two_sided;
use crate::stats::levels::level_indices;
use crate::trial::{Reference, SharedWithin, Timing};

/// A reference below a treatment is told where chance makes such a difference, over all treatments of the trial, this rarely: a trial is
/// looked at once a variety and sensing, and at 0.01 two of the 1 800 trials of 200 simulated programmes were told for nothing.
const ALPHA: f64 = 0.002;
/// … and where it is lower by this share: below that no rate of a table would change (common practice: rows of 0.05).
const LOWER_SHARE: f64 = 0.02;

/// What a plot shares with its reference: variety and block, where the trial says so.
fn shared<'v>(view: &'v View<'_>, within: SharedWithin, plot: usize) -> (&'v str, &'v str) {
    let variety = if within.variety { view.variety(plot) } else { "" };
    let block = if within.block { view.blocks.get(plot).map_or("", String::as_str) } else { "" };
    (variety, block)
}

/// *variety Pale Heron in block 2*, *the trial*.
fn sharing((variety, block): (&str, &str)) -> String {
    match (variety, block) {
        ("", "") => "the trial".to_owned(),
        (variety, "") => format!("variety {variety}"),
        ("", block) => format!("block {block}"),
        (variety, block) => format!("variety {variety} in block {block}"),
    }
}

fn is_reference(view: &View<'_>, plot: usize) -> bool {
    view.plot(plot).is_some_and(|plot| plot.is_reference)
}

/// Plots that share their reference with none: a variety (or a variety in a block) without an N-rich plot. Its readings have no index.
pub(super) fn absent(view: &View<'_>) -> Vec<Finding> {
    let Some(Reference { shared_within, .. }) = view.trial.reference else { return Vec::new() };
    let mut sharing_plots: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for plot in 0..view.trial.plots.len() {
        sharing_plots.entry(shared(view, shared_within, plot)).or_default().push(plot);
    }
    let without = sharing_plots.into_iter().filter(|(_, plots)| !plots.iter().any(|plot| is_reference(view, *plot)));
    let columns = &view.trial.plot_columns;
    let finding = |((variety, block), plots): ((&str, &str), Vec<usize>)| {
        let first = plots.first().copied().unwrap_or_default();
        let (column, value) = if block.is_empty() { (&columns.variety, variety) } else { (&columns.block, block) };
        let text = format!(
            "{} has no N-rich reference plot, so the readings of its {} have no index",
            sharing((variety, block)),
            count(plots.len(), "plot")
        );
        let remedy = "mark its N-rich plots, or widen shared_within if another reference may stand for them";
        Finding::warning("no-reference-for-plots", view.cell(first, column.as_deref(), value), text).remedy(remedy)
    };
    without.map(finding).collect()
}

/// Several varieties read against one reference: a variety's own greenness then counts as N.
pub(super) fn of_another_variety(view: &View<'_>) -> Vec<Finding> {
    let Some(reference) = view.trial.reference.filter(|reference| !reference.shared_within.variety) else {
        return Vec::new();
    };
    let variety = view.factors.iter().find(|factor| factor.source == Source::Variety && factor.varies());
    let Some(_) = variety.filter(|_| !view.trial.readings.is_empty()) else { return Vec::new() };
    let plots = 0..view.trial.plots.len();
    let rich: BTreeSet<&str> =
        plots.clone().filter(|plot| is_reference(view, *plot)).map(|plot| view.variety(plot)).collect();
    let all: BTreeSet<&str> = plots.map(|plot| view.variety(plot)).collect();
    let rich: Vec<&str> = rich.into_iter().collect();
    let text = format!(
        "plots of {} are all read against the mean of the N-rich plots of {}",
        count(all.len(), "variety").replace("varietys", "varieties"),
        list(&rich)
    );
    let within = if reference.shared_within.block { "[\"variety\", \"block\"]" } else { "[\"variety\"]" };
    let place = Place::file(&view.trial.descriptor).column("reference.shared_within");
    vec![
        Finding::warning("reference-of-another-variety", place, text).remedy(format!("write shared_within = {within}")),
    ]
}

/// A reference with less N on by the sensing than another plot that it stands for: it is not N-rich. Told once, for the last sensing
/// before the topdress.
pub(super) fn not_rich(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    let Some(Reference { shared_within, .. }) = view.trial.reference else { return Vec::new() };
    let topdress = view.trial.applications.iter().find(|application| application.timing == Timing::DecidedBySensing);
    let dates: BTreeSet<_> = sensings.iter().map(|sensed| sensed.date).collect();
    let date = dates.into_iter().filter(|date| topdress.is_none_or(|topdress| !topdress.is_on(*date)));
    // The last such day is the one that decides.
    let Some(date) = date.max() else { return Vec::new() };
    let unit = view.units.n_rate;
    let on: Vec<f64> = view.trial.plots.iter().map(|plot| view.trial.n_already_on(plot, date, unit)).collect();
    let mut findings = Vec::new();
    let mut told: BTreeSet<(&str, &str)> = BTreeSet::new();
    for rich in (0..on.len()).filter(|plot| is_reference(view, *plot)) {
        let group = shared(view, shared_within, rich);
        let others = (0..on.len()).filter(|plot| {
            shared(view, shared_within, *plot) == group && !is_reference(view, *plot) && !view.told.contains(plot)
        });
        let most = others.filter_map(|plot| Some((plot, *on.get(plot)?))).max_by(|a, b| a.1.total_cmp(&b.1));
        let (Some((plot, most)), Some(own)) = (most, on.get(rich).copied()) else { continue };
        if own >= most || !told.insert(group) {
            continue;
        }
        let (application, rate) = super::rates::largest_rate(view, rich);
        let column = application.and_then(|position| view.trial.plot_columns.rates.get(position)?.as_deref());
        let text = format!(
            "N-rich reference plot {} had {} {unit} of N on by {date}, and plot {} had {}: it is not the richest",
            view.id(rich),
            rounded(own),
            view.id(plot),
            rounded(most)
        );
        let place = view.cell(rich, column, rate);
        let remedy = "mark the plots with the most N as the reference, or correct the rate";
        findings.push(Finding::warning("reference-not-rich", place, text).remedy(remedy));
    }
    findings
}

/// Plots read on a day on which none of their reference plots was read with the same instrument, or at another growth stage. Both change
/// by the day, so a ratio of two days tells of the days.
pub(super) fn read_apart(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    let Some(Reference { shared_within, .. }) = view.trial.reference else { return Vec::new() };
    let with_reference: BTreeSet<(&str, &str)> = (0..view.trial.plots.len())
        .filter(|plot| is_reference(view, *plot))
        .map(|plot| shared(view, shared_within, plot))
        .collect();
    let mut findings = Vec::new();
    for sensed in sensings {
        let mut groups: BTreeMap<(&str, &str), [Vec<&Read>; 2]> = BTreeMap::new();
        for read in &sensed.reads {
            let [rich, others] = groups.entry(shared(view, shared_within, read.plot)).or_default();
            if is_reference(view, read.plot) { rich.push(read) } else { others.push(read) }
        }
        for (group, [rich, others]) in groups {
            let Some(first) = others.first().filter(|_| with_reference.contains(&group)) else { continue };
            let value = first.values.first().copied().map_or_else(String::new, typed);
            match rich.first() {
                None => {
                    let were = if others.len() == 1 { "was" } else { "were" };
                    let text = format!(
                        "on {} {} of {} {were} read with the {} and no N-rich reference plot of theirs{}",
                        sensed.date,
                        count(others.len(), "plot"),
                        sharing(group),
                        sensed.instrument.name(),
                        nearest_day(view, sensings, sensed, shared_within, group)
                    );
                    let remedy = "read the reference on the same day as its plots; these readings have no index";
                    findings.push(
                        Finding::warning("reference-not-read", first.place(view).value(value), text).remedy(remedy),
                    );
                }
                Some(rich) => {
                    let stages = rich.first.stage.as_ref().zip(first.first.stage.as_ref());
                    if let Some((of_rich, of_plots)) = stages.filter(|(of_rich, of_plots)| of_rich != of_plots) {
                        let text = format!(
                            "on {} the N-rich reference of {} (plot {}) was read at {of_rich} and plot {} at {of_plots}",
                            sensed.date,
                            sharing(group),
                            view.id(rich.plot),
                            view.id(first.plot)
                        );
                        let remedy = "reference and plots are read at one growth stage: correct the stage, or read the index with care";
                        let place =
                            rich.place(view).value(rich.values.first().copied().map_or_else(String::new, typed));
                        findings.push(Finding::warning("reference-other-stage", place, text).remedy(remedy));
                    }
                }
            }
        }
    }
    findings
}

/// *; it was read 7 days before, on 2024-04-01*.
fn nearest_day(
    view: &View<'_>,
    sensings: &[Sensed],
    sensed: &Sensed,
    within: SharedWithin,
    group: (&str, &str),
) -> String {
    let with_rich = sensings.iter().filter(|other| {
        let is_theirs = |read: &Read| is_reference(view, read.plot) && shared(view, within, read.plot) == group;
        other.instrument == sensed.instrument && other.reads.iter().any(is_theirs)
    });
    let days = with_rich.map(|other| (other.date.duration_since(sensed.date).as_hours() / 24, other.date));
    match days.min_by_key(|(days, _)| days.abs()) {
        None => String::new(),
        Some((days, date)) => {
            let which = if days < 0 { "before" } else { "after" };
            format!("; it was read {} {which}, on {date}", count(days.unsigned_abs() as usize, "day"))
        }
    }
}

/// A reference that reads below a treatment of its variety, beyond noise (t test of treatment + block at 0.002 over all treatments) and by 2 %: an
/// index above 1 there asks for less N than the reference has. Also a reference that does not read above 0.
pub(super) fn below_its_plots(view: &View<'_>, sensed: &Sensed) -> Vec<Finding> {
    let mut findings = Vec::new();
    if view.trial.reference.is_none() {
        return findings;
    }
    let treatments = view.treatments();
    let strata = view.strata();
    let mut varieties: BTreeMap<&str, Vec<&Read>> = BTreeMap::new();
    for read in &sensed.reads {
        varieties.entry(view.variety(read.plot)).or_default().push(read);
    }
    for (variety, reads) in varieties {
        // All reference plots are one treatment here, also where their topdress differs.
        let rich = usize::MAX;
        let label = |read: &Read| {
            if is_reference(view, read.plot) { rich } else { treatments.get(read.plot).copied().unwrap_or(rich) }
        };
        let labels: Vec<usize> = reads.iter().map(|read| label(read)).collect();
        let levels = level_indices(&labels);
        let blocks: Vec<usize> = reads.iter().filter_map(|read| strata.get(read.plot).copied()).collect();
        let values: Vec<f64> = reads.iter().map(|read| read.mean()).collect();
        let Some(own) =
            labels.iter().position(|label| *label == rich).and_then(|position| levels.get(position)).copied()
        else {
            continue;
        };
        let Some(fit) = Additive::fit(&levels, &level_indices(&blocks), &values) else { continue };
        let mean = |level: usize| {
            let of_level: Vec<f64> =
                values.iter().zip(&levels).filter(|(_, own)| **own == level).map(|(value, _)| *value).collect();
            of_level.iter().sum::<f64>() / of_level.len().max(1) as f64
        };
        let others: BTreeSet<usize> = levels.iter().copied().filter(|level| *level != own).collect();
        let compared = others.iter().filter_map(|other| {
            let (difference, error) = fit.difference(*other, own)?;
            let p = t_two_sided(difference / error, fit.df() as f64)? * others.len() as f64;
            (difference > LOWER_SHARE * mean(own).abs() && error > 0.0 && p < ALPHA).then_some((*other, difference, p))
        });
        let Some((other, difference, p)) = compared.max_by(|a, b| a.1.total_cmp(&b.1)) else { continue };
        let read_of = |level: usize| reads.iter().zip(&levels).find(|(_, own)| **own == level).map(|(read, _)| *read);
        let (Some(first), Some(higher)) = (read_of(own), read_of(other)) else { continue };
        let whose = if variety.is_empty() { String::new() } else { format!(" of {variety}") };
        let text = format!(
            "the N-rich reference{whose} reads {} on {} with the {}, {} below the plots with {} ({})",
            rounded(mean(own)),
            sensed.date,
            sensed.instrument.name(),
            rounded(difference),
            view.treatment_label(higher.plot),
            p_value(p)
        );
        let remedy = "check which plots are marked as the reference and their readings; a reference short of N makes every index too high";
        let place = first.place(view).value(first.values.first().copied().map_or_else(String::new, typed));
        findings.push(Finding::warning("reference-below-plots", place, text).remedy(remedy));
    }
    findings
}
