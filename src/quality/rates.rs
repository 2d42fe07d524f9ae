//! N rates: off the plan, a little off their level, too high, or all the same.

use std::collections::BTreeMap;

use super::view::{Source, View, is_planned, typed_rate};
use super::words::{count, list, rounded, typed};
use crate::finding::{Finding, Place};
use crate::units::{NRate, NRateUnit};

/// An applied rate may differ from the planned one by this share: a plot spreader is set to within 5 % (common practice), and twice
/// that is another rate.
const OFF_PLAN_SHARE: f64 = 0.10;
/// … and by this much, kg N/ha, where the planned rate is near zero: less is what a spreader drops in turning (common practice).
const OFF_PLAN_KILOGRAMS: f64 = 3.0;
/// Rates off the plan by one and the same factor (to this share) in most plots were typed in another unit or as product.
const SAME_FACTOR: f64 = 0.02;
/// A rate is near a level within this share of the highest rate …
const NEAR_LEVEL_SHARE: f64 = 0.05;
/// … and of the distance between levels: beyond it the rate may be a level of its own.
const NEAR_SPACING_SHARE: f64 = 0.25;
/// A level is held by so many plots at least.
const FEWEST_OF_LEVEL: usize = 3;
/// Where more of the plots have a rate of their own, rates are as they went on and no plan is broken.
const OWN_RATES_SHARE: f64 = 0.10;
/// N on a plot, kg/ha, above which it is more likely product typed as N: N-rich plots rarely get 350 (common practice).
const HIGHEST_N: f64 = 400.0;

/// Applied rates against planned ones: more than a tenth (and 3 kg N/ha) apart; told once where most plots are off by one factor.
pub(super) fn off_plan(view: &View<'_>) -> Vec<Finding> {
    let trial = view.trial;
    let mut findings = Vec::new();
    for (position, application) in trial.applications.iter().enumerate() {
        let column = trial.plot_columns.rates.get(position).and_then(Option::as_deref);
        let unit = NRateUnit::KilogramsPerHectare;
        let pairs = trial.plots.iter().enumerate().filter_map(|(plot, of)| {
            let planned = of.planned_rates.get(position).copied().flatten()?;
            Some((plot, *of.rates.get(position)?, planned))
        });
        let pairs: Vec<_> = pairs.collect();
        let off: Vec<_> = pairs
            .iter()
            .filter(|(_, applied, planned)| {
                let (applied, planned) = (applied.in_unit(unit), planned.in_unit(unit));
                (applied - planned).abs() > (OFF_PLAN_SHARE * planned).max(OFF_PLAN_KILOGRAMS)
            })
            .collect();
        let factors: Vec<f64> =
            off.iter().map(|(_, applied, planned)| applied.in_unit(unit) / planned.in_unit(unit)).collect();
        let fertilised = pairs.iter().filter(|(_, _, planned)| planned.in_unit(unit) > 0.0).count();
        let alike = |first: &&f64| factors.iter().all(|factor| (factor / **first - 1.0).abs() <= SAME_FACTOR);
        if let (Some(factor), Some((plot, applied, _)), true) =
            (factors.first().filter(alike), off.first(), off.len() > 2 && off.len() * 2 > fertilised)
        {
            let text = format!(
                "{:?} went on at {} of the planned rate in {}: one of the two columns is in another unit, or is of the product and not of N",
                application.name,
                typed((factor * 1000.0).round() / 1000.0),
                count(off.len(), "plot"),
            );
            let place = view.cell(*plot, column, typed_rate(trial, position, *applied));
            findings.push(
                Finding::warning("rate-off-plan", place, text).remedy("give each column its own unit and n_percent"),
            );
            continue;
        }
        for (plot, applied, planned) in off {
            let (applied, planned) = (typed_rate(trial, position, *applied), typed_rate(trial, position, *planned));
            let text = format!(
                "{:?} went on at {applied} in plot {}, planned was {planned}",
                application.name,
                view.id(*plot)
            );
            let place = view.cell(*plot, column, applied);
            let remedy = "correct the rate, or exclude the plot if it stands in for its planned rate";
            findings.push(Finding::warning("rate-off-plan", place, text).remedy(remedy));
        }
    }
    findings
}

/// A rate that one plot alone has, near a level that at least three plots hold: 39.2 among 40s. It would make a treatment of its own.
pub(super) fn near_levels(view: &mut View<'_>) -> Vec<Finding> {
    let trial = view.trial;
    let mut findings = Vec::new();
    let plots = trial.plots.len();
    for position in 0..view.factors.len() {
        let Some(factor) = view.factors.get(position) else { continue };
        let Source::Application(application) = factor.source else { continue };
        if is_planned(trial, application) {
            continue;
        }
        let near = near_rates(&factor.levels);
        if near.len() as f64 > OWN_RATES_SHARE * plots as f64 {
            continue;
        }
        for (plot, own, level) in near {
            let Some(factor) = view.factors.get(position) else { continue };
            let (own, level) = (typed(own), typed(level));
            let text = format!(
                "{:?} is {own} in plot {} alone, and {level} in {}: it counts as a treatment of its own",
                factor.name,
                view.id(plot),
                count(factor.levels.iter().filter(|other| **other == level).count(), "plot"),
            );
            let place = view.cell(plot, factor.column.as_deref(), own);
            let remedy =
                format!("write {level} if that was meant; give the plan in planned = … if rates are as they went on");
            findings.push(Finding::warning("near-level", place, text).remedy(remedy));
            if let Some(own) = view.factors.get_mut(position).and_then(|factor| factor.levels.get_mut(plot)) {
                *own = level;
            }
        }
    }
    findings
}

/// Plots with a rate of their own near a level, and that level.
fn near_rates(levels: &[String]) -> Vec<(usize, f64, f64)> {
    let rates: Vec<Option<f64>> = levels.iter().map(|level| level.parse().ok()).collect();
    let mut sorted: Vec<f64> = rates.iter().flatten().copied().filter(|rate| rate.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let groups: Vec<(f64, usize)> =
        sorted.chunk_by(|a, b| a == b).filter_map(|group| Some((*group.first()?, group.len()))).collect();
    let held: Vec<f64> = groups.iter().filter(|(_, count)| *count >= FEWEST_OF_LEVEL).map(|(rate, _)| *rate).collect();
    let spacing = held.windows(2).filter_map(|pair| Some(pair.get(1)? - pair.first()?)).fold(f64::INFINITY, f64::min);
    let reach = sorted.last().map_or(0.0, |highest| NEAR_LEVEL_SHARE * highest).min(NEAR_SPACING_SHARE * spacing);
    let mut near = Vec::new();
    for (own, _) in groups.iter().filter(|(_, count)| *count == 1) {
        // No N is a level that nothing comes near: a little N is a slip of the decimal before it is a slip of the spreader.
        let level = held
            .iter()
            .copied()
            .filter(|level| *level > 0.0)
            .min_by(|a, b| (a - own).abs().total_cmp(&(b - own).abs()));
        if let (Some(level), Some(plot)) =
            (level.filter(|level| (level - own).abs() <= reach), rates.iter().position(|rate| *rate == Some(*own)))
        {
            near.push((plot, *own, level));
        }
    }
    near
}

/// N on a plot that is more likely product typed as N; told once, at the plot with the most.
pub(super) fn too_high(view: &mut View<'_>) -> Vec<Finding> {
    let trial = view.trial;
    let unit = view.units.n_rate;
    let limit = HIGHEST_N / unit.kilograms_per_hectare();
    let totals = trial.plots.iter().map(|plot| trial.n_where(plot, unit, |_| true)).enumerate();
    let above: Vec<(usize, f64)> = totals.filter(|(_, total)| *total > limit).collect();
    let Some((plot, total)) = above.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)) else { return Vec::new() };
    let (position, rate) = largest_rate(view, plot);
    let column = position.and_then(|position| trial.plot_columns.rates.get(position)?.as_deref());
    let others = match above.len() - 1 {
        0 => String::new(),
        others => format!(", and {} more above {}", count(others, "plot"), rounded(limit)),
    };
    let text = format!(
        "plot {} has {} {unit} of N in all{others}; above {} {unit} rates are often of the product and not of N",
        view.id(plot),
        rounded(total),
        rounded(limit)
    );
    let place = view.cell(plot, column, rate);
    if above.len() == 1 {
        view.told.insert(plot);
    }
    vec![
        Finding::warning("high-rate", place, text)
            .remedy("give the N in the product as n_percent, or correct the unit or the rate"),
    ]
}

/// The application that gave a plot the most, and its rate as typed.
pub(super) fn largest_rate(view: &View<'_>, plot: usize) -> (Option<usize>, String) {
    let rates = view.plot(plot).map_or(&[][..], |plot| &plot.rates);
    let rate = |rate: &NRate| rate.in_unit(view.units.n_rate);
    match rates.iter().enumerate().max_by(|a, b| rate(a.1).total_cmp(&rate(b.1))) {
        Some((position, rate)) => (Some(position), typed_rate(view.trial, position, *rate)),
        None => (None, String::new()),
    }
}

/// A factor with one level: a declared factor or one on main plots or strips, or N that is the same in every plot. It explains nothing.
pub(super) fn one_level(view: &View<'_>) -> Vec<Finding> {
    let trial = view.trial;
    if trial.plots.len() < 2 {
        return Vec::new();
    }
    let place = |column: Option<&str>| match column {
        Some(column) => Place::file(&trial.plots_file).column(column),
        None => Place::file(&trial.descriptor),
    };
    let mut findings = Vec::new();
    for factor in view.factors.iter().filter(|factor| !factor.varies()) {
        if factor.on_whole || matches!(factor.source, Source::Factor(_)) {
            let level = factor.levels.first().map_or("", String::as_str);
            let text = format!("factor {:?} has one level, {level:?}, in every plot", factor.name);
            let place = place(factor.column.as_deref()).value(level);
            findings.push(
                Finding::warning("one-level", place, text)
                    .remedy("name the column that tells its levels apart, or leave the factor out"),
            );
        }
    }
    let applications: Vec<_> =
        view.factors.iter().filter(|factor| matches!(factor.source, Source::Application(_))).collect();
    if let (Some(first), true) = (applications.first(), applications.iter().all(|application| !application.varies())) {
        let mut rates: BTreeMap<&str, &str> = BTreeMap::new();
        for application in &applications {
            rates.insert(&application.name, application.levels.first().map_or("", String::as_str));
        }
        let rates: Vec<String> = rates.iter().map(|(name, rate)| format!("{name} {rate}")).collect();
        let text = format!("every plot has the same N rates ({}), so no response to N can be seen", list(&rates));
        findings.push(
            Finding::warning("one-level", place(first.column.as_deref()), text)
                .remedy("name the columns of the rates that differ among plots"),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(rates: &[(f64, usize)]) -> Vec<String> {
        rates.iter().flat_map(|(rate, count)| vec![rate.to_string(); *count]).collect()
    }

    #[test]
    fn a_rate_of_its_own_is_near_a_level_or_a_level_itself() {
        assert_eq!(near_rates(&levels(&[(0.0, 4), (40.0, 3), (39.2, 1), (80.0, 4)])), [(7, 39.2, 40.0)]);
        // 4 instead of 40 is no near duplicate, nor is 1 of 0, a reference strip at 200 neither, and 2.5 among small steps is a level.
        for rates in [
            &[(0.0, 4), (40.0, 3), (4.0, 1)][..],
            &[(0.0, 4), (40.0, 4), (1.0, 1)],
            &[(0.0, 4), (40.0, 4), (200.0, 1)],
            &[(0.0, 4), (5.0, 4), (2.5, 1)],
        ] {
            assert_eq!(near_rates(&levels(rates)), [], "{rates:?}");
        }
    }
}
