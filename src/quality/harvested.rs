//! Values of the harvest: zeros for missing, out of the crop's range, constant, in the wrong unit.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use super::plausible::{Plausible, plausible};
use super::view::View;
use super::words::{count, list, rounded, typed};
use crate::finding::{Finding, Place};
use crate::trial::{Excluded, Harvest, Plot};
use crate::units::{MassUnit, TestWeightUnit, Unit, YieldUnit};

/// A zero stands for *missing* where the smallest other value is at least this share of their median.
const FAR_FROM_ZERO: f64 = 0.2;
/// Values out of range are told one by one up to so many, then once for the column.
const MOST_SINGLE: usize = 5;
/// Fewer plots than this may well agree in a value.
const FEWEST_FOR_CONSTANT: usize = 6;
/// Lodging scores of a scale of single figures: most of them at most this …
const SINGLE_FIGURES: f64 = 10.0;
/// … and at least so many no multiple of 5, as scores in per cent would be (common practice).
const FEWEST_SINGLE_FIGURES: usize = 3;

/// A column of the harvest: the plots that have a value, as typed.
struct Values<'v> {
    what: &'static str,
    column: Option<&'v str>,
    of_plots: Vec<(usize, f64)>,
}

impl<'v> Values<'v> {
    fn of(
        view: &View<'v>,
        what: &'static str,
        column: &'v Option<String>,
        value: impl Fn(&Plot) -> Option<f64>,
    ) -> Self {
        let plots = view.trial.plots.iter().enumerate();
        let plots = plots.filter(|(_, plot)| plot.excluded(Excluded::Yield).is_none());
        Self {
            what,
            column: column.as_deref(),
            of_plots: plots.filter_map(|(position, plot)| Some((position, value(plot)?))).collect(),
        }
    }
}

fn moisture(plot: &Plot) -> Option<f64> {
    let (Harvest::Yield { moisture, .. } | Harvest::Weight { moisture, .. }) = plot.harvest?;
    moisture.map(|moisture| moisture.percent())
}

fn as_typed(plot: &Plot) -> Option<f64> {
    match plot.harvest? {
        Harvest::Yield { quantity, .. } => Some(quantity.typed()),
        Harvest::Weight { typed, .. } => Some(typed),
    }
}

/// Every value of the harvest that stands in the plots file.
fn columns<'v>(view: &View<'v>) -> [Values<'v>; 4] {
    let columns = &view.trial.plot_columns;
    [
        Values::of(view, "yield", &columns.harvest, as_typed),
        Values::of(view, "moisture", &columns.moisture, moisture),
        Values::of(view, "protein", &columns.protein, |plot| plot.protein.map(|protein| protein.percent)),
        Values::of(view, "test weight", &columns.test_weight, |plot| plot.test_weight.map(|weight| weight.typed())),
    ]
}

/// Plots whose yield is a zero that stands for *missing*, or whose moisture can't be: their yields are told for that already.
pub(super) fn told_yields(view: &View<'_>) -> BTreeSet<usize> {
    let [yields, moistures, ..] = columns(view);
    let range = plausible(view.crop).map(|plausible| plausible.moisture);
    let wet = moistures.of_plots.iter().filter(|(_, value)| range.as_ref().is_some_and(|range| !range.contains(value)));
    zeros(&yields.of_plots).into_iter().chain(wet.map(|(plot, _)| *plot)).collect()
}

/// A 0 among values that are all far from 0: a yield, moisture, protein or test weight that was not taken is no zero.
pub(super) fn zeros_for_missing(view: &View<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for values in columns(view) {
        for plot in zeros(&values.of_plots) {
            let text = format!("the {} of plot {} is 0, while no other is near 0", values.what, view.id(plot));
            let place = view.cell(plot, values.column, "0");
            let remedy =
                "leave the cell empty if it was not taken; exclude the plot with its reason if it truly gave nothing";
            findings.push(Finding::warning("zero-for-missing", place, text).remedy(remedy));
        }
    }
    findings
}

/// Positions of zeros among values far from 0; none where they are most of the values.
pub(super) fn zeros(values: &[(usize, f64)]) -> Vec<usize> {
    let mut others: Vec<f64> = values.iter().map(|(_, value)| *value).filter(|value| *value != 0.0).collect();
    others.sort_by(f64::total_cmp);
    let zeros: Vec<usize> = values.iter().filter(|(_, value)| *value == 0.0).map(|(position, _)| *position).collect();
    match (others.first(), others.get(others.len() / 2)) {
        (Some(smallest), Some(median)) if *smallest >= FAR_FROM_ZERO * median && zeros.len() < others.len() => zeros,
        _ => Vec::new(),
    }
}

/// Moisture, protein and test weight outside the crop's range.
pub(super) fn out_of_range(view: &View<'_>) -> Vec<Finding> {
    let Some(Plausible { moisture, protein, test_weight, .. }) = plausible(view.crop) else { return Vec::new() };
    let [_, moistures, proteins, test_weights] = columns(view);
    let mut findings = outside(view, "moisture-range", &moistures, &moisture, "%");
    findings.extend(outside(view, "protein-range", &proteins, &protein, "%"));
    let pounds = |view: &View<'_>, plot: usize| {
        view.plot(plot)?.test_weight.map(|weight| weight.in_unit(TestWeightUnit::PoundsPerBushel))
    };
    let in_pounds = Values {
        of_plots: test_weights.of_plots.iter().filter_map(|(plot, _)| Some((*plot, pounds(view, *plot)?))).collect(),
        ..test_weights
    };
    findings.extend(outside(view, "test-weight-range", &in_pounds, &test_weight, "lb/bu"));
    findings
}

fn outside(
    view: &View<'_>,
    code: &'static str,
    values: &Values<'_>,
    range: &RangeInclusive<f64>,
    unit: &str,
) -> Vec<Finding> {
    let zeros = zeros(&values.of_plots);
    let outside: Vec<&(usize, f64)> =
        values.of_plots.iter().filter(|(plot, value)| !range.contains(value) && !zeros.contains(plot)).collect();
    let Some((first, value)) = outside.first() else { return Vec::new() };
    let (what, crop) = (values.what, &view.crop.name);
    let usual = format!("of {crop} it is {} to {} {unit}", range.start(), range.end());
    if values.column.is_none() {
        let text = format!("the {what} of the yields is given as {} %; {usual}", typed(*value));
        let place = Place::file(&view.trial.descriptor).column(what).value(typed(*value));
        return vec![Finding::warning(code, place, text).remedy(format!("correct the {what} in [harvest]"))];
    }
    if outside.len() > MOST_SINGLE {
        let ids: Vec<&str> = outside.iter().map(|(plot, _)| view.id(*plot)).collect();
        let text = format!(
            "the {what} of {} of {} plots ({}) is out of range, as {} {unit} of plot {}: {usual}",
            outside.len(),
            values.of_plots.len(),
            list(&ids),
            rounded(*value),
            view.id(*first)
        );
        let place = view.cell(*first, values.column, typed(*value));
        return vec![Finding::warning(code, place, text).remedy("check that this is the right column, and its unit")];
    }
    let finding = |(plot, value): &(usize, f64)| {
        let text = format!("the {what} of plot {} is {} {unit}; {usual}", view.id(*plot), rounded(*value));
        let place = view.cell(*plot, values.column, typed(*value));
        Finding::warning(code, place, text).remedy("correct the cell, or leave it empty if it was not taken")
    };
    outside.into_iter().map(finding).collect()
}

/// The same moisture in every plot of a column: it was copied down, not taken.
pub(super) fn constant_moisture(view: &View<'_>) -> Vec<Finding> {
    let [_, Values { column, of_plots, .. }, ..] = columns(view);
    let (Some(column), [(first, value), others @ ..]) = (column, of_plots.as_slice()) else { return Vec::new() };
    if of_plots.len() < FEWEST_FOR_CONSTANT || others.iter().any(|(_, other)| other != value) {
        return Vec::new();
    }
    let text = format!("the moisture is {} in all {}", typed(*value), count(of_plots.len(), "harvested plot"));
    let place = view.cell(*first, Some(column), typed(*value));
    let remedy = "if one moisture was taken for the trial, give it as moisture_percent; if none was, leave it out";
    vec![Finding::warning("constant-moisture", place, text).remedy(remedy)]
}

/// A yield column in the wrong unit: its median is no yield of the crop in the unit declared, but is one in another.
pub(super) fn wrong_unit(view: &View<'_>) -> Vec<Finding> {
    let Some((median, range)) = median_yield(view).zip(plausible(view.crop).map(|plausible| plausible.trial_yield))
    else {
        return Vec::new();
    };
    if range.contains(&median.kilograms_per_hectare) {
        return Vec::new();
    }
    let bushel = view.crop.pounds_per_bushel;
    let candidates: Vec<&str> = match median.declared {
        Declared::Yield(_) => YieldUnit::ALL
            .iter()
            .filter(|unit| {
                unit.kilograms_per_hectare(bushel).is_ok_and(|kilograms| range.contains(&(median.typed * kilograms)))
            })
            .map(|unit| unit.symbol())
            .collect(),
        Declared::Weight { kilograms_per_typed } => MassUnit::ALL
            .iter()
            .filter(|unit| {
                unit.kilograms(bushel).is_ok_and(|kilograms| {
                    range.contains(&(median.kilograms_per_hectare / kilograms_per_typed * kilograms))
                })
            })
            .map(|unit| unit.symbol())
            .collect(),
    };
    let declared = match median.declared {
        Declared::Yield(unit) => format!("half of the yields lie above {} {unit}", rounded(median.typed)),
        Declared::Weight { .. } => format!(
            "half of the weights, {} and above, come to {} kg/ha or more",
            rounded(median.typed),
            rounded(median.kilograms_per_hectare)
        ),
    };
    let text = format!(
        "{declared}, which is no yield of {}: that is {} to {} kg/ha{}",
        view.crop.name,
        range.start(),
        range.end(),
        if candidates.is_empty() {
            String::new()
        } else {
            format!("; the numbers would fit {}", list(&candidates).replace(" and ", " or "))
        }
    );
    let column = view.trial.plot_columns.harvest.as_deref();
    let place = match column {
        Some(column) => first_harvest(view, column),
        None => Place::file(&view.trial.descriptor).column("harvest"),
    };
    let remedy = match (&median.declared, candidates.as_slice()) {
        (Declared::Yield(_), [unit]) => format!("write unit = {unit:?} for the yield if that is what the column holds"),
        (Declared::Yield(_), _) => "correct the unit of the yield, or name another column".to_owned(),
        (Declared::Weight { .. }, _) => "correct the unit of the weight, or the harvested area and its unit".to_owned(),
    };
    vec![Finding::warning("yield-unit", place, text).remedy(remedy)]
}

/// The first cell of the harvest that has a number.
pub(super) fn first_harvest(view: &View<'_>, column: &str) -> Place {
    let mut typed_harvests =
        view.trial.plots.iter().enumerate().filter_map(|(position, plot)| Some((position, as_typed(plot)?)));
    match typed_harvests.next() {
        Some((plot, value)) => view.cell(plot, Some(column), typed(value)),
        None => Place::file(&view.trial.plots_file).column(column),
    }
}

/// What harvests were declared as.
#[derive(Clone, Copy)]
enum Declared {
    Yield(YieldUnit),
    Weight { kilograms_per_typed: f64 },
}

/// The median harvest of a trial.
#[derive(Clone, Copy)]
struct Median {
    typed: f64,
    kilograms_per_hectare: f64,
    declared: Declared,
}

/// The median yield of a trial, kg/ha as it stood; `None` without yields.
pub(super) fn median_kilograms_per_hectare(view: &View<'_>) -> Option<f64> {
    median_yield(view).map(|median| median.kilograms_per_hectare)
}

fn median_yield(view: &View<'_>) -> Option<Median> {
    let plots = view.trial.plots.iter().filter(|plot| plot.excluded(Excluded::Yield).is_none());
    let of_plot = |plot: &Plot| match plot.harvest? {
        Harvest::Yield { quantity, .. } => {
            let kilograms = quantity.unit().kilograms_per_hectare(view.crop.pounds_per_bushel).ok()?;
            let typed = quantity.typed();
            Some(Median { typed, kilograms_per_hectare: typed * kilograms, declared: Declared::Yield(quantity.unit()) })
        }
        Harvest::Weight { typed, kilograms, square_metres, .. } => Some(Median {
            typed,
            kilograms_per_hectare: kilograms / square_metres * 10_000.0,
            declared: Declared::Weight { kilograms_per_typed: kilograms / typed },
        }),
    };
    let mut harvests: Vec<Median> = plots
        .filter_map(of_plot)
        .filter(|median| median.typed > 0.0 && median.kilograms_per_hectare.is_finite())
        .collect();
    harvests.sort_by(|a, b| a.kilograms_per_hectare.total_cmp(&b.kilograms_per_hectare));
    harvests.get(harvests.len() / 2).copied()
}

/// A lodging score off its scale: above 10 where the others show a scale of single figures, or above 100.
pub(super) fn lodging_off_scale(view: &View<'_>) -> Vec<Finding> {
    let column = view.trial.plot_columns.lodging.as_deref();
    let scores: Vec<(usize, f64)> =
        view.trial.plots.iter().enumerate().filter_map(|(position, plot)| Some((position, plot.lodging?))).collect();
    let single =
        scores.iter().filter(|(_, score)| (0.0..=SINGLE_FIGURES).contains(score) && score % 5.0 != 0.0).count();
    let above: Vec<&(usize, f64)> = scores.iter().filter(|(_, score)| *score > SINGLE_FIGURES).collect();
    let (highest, scale) = if single >= FEWEST_SINGLE_FIGURES && above.len() < single {
        (SINGLE_FIGURES, "a scale of single figures")
    } else {
        (100.0, "per cent")
    };
    let off = scores.iter().filter(|(_, score)| *score > highest || *score < 0.0);
    let finding = |(plot, score): &(usize, f64)| {
        let text = format!(
            "plot {} has a lodging score of {}, while the others are of {scale}",
            view.id(*plot),
            typed(*score)
        );
        let place = view.cell(*plot, column, typed(*score));
        Finding::warning("lodging-scale", place, text).remedy("score every plot of a trial on one scale")
    };
    off.map(finding).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zero_stands_for_missing_only_where_the_others_are_far_from_it() {
        let values = |values: &[f64]| values.iter().copied().enumerate().collect::<Vec<_>>();
        assert_eq!(zeros(&values(&[40.0, 0.0, 70.0, 61.0])), [1]);
        for none in [&[4.0, 0.0, 70.0, 61.0][..], &[0.0, 0.0, 50.0], &[], &[0.0]] {
            assert_eq!(zeros(&values(none)), [0; 0], "{none:?}");
        }
    }
}
