//! Plots that lie far from what their treatment and block lead to expect.

use std::collections::BTreeSet;

use super::additive::{Additive, Judged};
use super::sensed::Sensed;
use super::view::View;
use super::words::{p_value, rounded, typed};
use crate::finding::{Finding, Place};
use crate::stats::levels::level_indices;
use crate::trial::{Harvest, Plot};

/// A plot is told where chance makes such a residual, among all plots of the trial, this rarely (Bonferroni). A tenth of the usual 0.01:
/// scatter that differs between low and high N, and plots that are like their neighbours, make larger residuals than the normal model says.
const ALPHA: f64 = 1e-3;
/// … or this rarely, where its decimal point moved by one place makes it fit: few chance outliers do.
const SLIP_ALPHA: f64 = 0.05;
/// So many standard errors of prediction from what is expected, a value fits.
const FITS_WITHIN: f64 = 2.0;
/// Fewer degrees of freedom than this, and one plot decides the others' scatter.
const FEWEST_DEGREES: usize = 6;
/// At most this share of the plots is told: beyond it the model is wrong and not the plots.
const MOST_SHARE: f64 = 0.1;

/// A value a plot, told by where it stands.
struct Value {
    plot: usize,
    value: f64,
}

/// An outlying yield. It stays in use: what is done about it is the owner's to say, with a reason.
pub(super) fn outlying_yields(view: &View<'_>, ignored: &BTreeSet<usize>) -> Vec<Finding> {
    let values = view.yields().into_iter().enumerate();
    // An N-rich plot beside the treatments enters no curve.
    let values = values.filter(|(plot, _)| !ignored.contains(plot) && !view.is_beside(*plot));
    let values: Vec<Value> = values.filter_map(|(plot, value)| value.map(|value| Value { plot, value })).collect();
    let unit = view.units.yields;
    let told = outlying(view, values);
    let finding = |(value, text): (Value, String)| {
        let typed = view.plot(value.plot).and_then(typed_harvest).map_or_else(String::new, typed);
        let place = view.cell(value.plot, view.trial.plot_columns.harvest.as_deref(), typed);
        outlier(place, format!("plot {} yields {text}", view.id(value.plot)), "yield", "yield")
    };
    let with_unit = |(value, expected, end): (Value, f64, String)| {
        let text = format!(
            "{} {unit} where its treatment and block lead to expect {}{end}",
            rounded(value.value),
            rounded(expected)
        );
        (value, text)
    };
    told.into_iter().map(with_unit).map(finding).collect()
}

/// An outlying plot mean of the readings of one day. An N-rich plot beside the treatments that stands otherwise to its block than the
/// others is told under its own code: it may be the plot, or a stand that its block does not share.
pub(super) fn outlying_readings(view: &View<'_>, sensed: &Sensed, ignored: &BTreeSet<usize>) -> Vec<Finding> {
    let reads = sensed.reads.iter().filter(|read| !ignored.contains(&read.plot));
    let values = reads.map(|read| Value { plot: read.plot, value: read.mean() }).collect();
    let finding = |(value, expected, end): (Value, f64, String)| {
        let read = sensed.reads.iter().find(|read| read.plot == value.plot)?;
        let of = if read.values.len() > 1 { format!(" (mean of {})", read.values.len()) } else { String::new() };
        let text = format!(
            "plot {} reads {}{of} with the {} of {} where its treatment and block lead to expect {}{end}",
            view.id(value.plot),
            rounded(value.value),
            sensed.instrument.name(),
            sensed.date,
            rounded(expected)
        );
        let first = read.values.first().copied().map_or_else(String::new, typed);
        if view.is_beside(value.plot) {
            let text = format!(
                "N-rich reference plot {} reads {}{of} with the {} of {}, {} {} than its block's plots and the other N-rich plots lead to expect{end}",
                view.id(value.plot),
                rounded(value.value),
                sensed.instrument.name(),
                sensed.date,
                rounded((value.value - expected).abs()),
                if value.value < expected { "less" } else { "more" },
            );
            let remedy = "look whether the N-rich plots stand as their blocks do: a thin stand on one side only makes a wrong index";
            return Some(
                Finding::warning("reference-unlike-block", read.place(view).value(first), text).remedy(remedy),
            );
        }
        Some(outlier(read.place(view).value(first), text, "readings", "readings"))
    };
    outlying(view, values).into_iter().filter_map(finding).collect()
}

fn outlier(place: Place, text: String, what: &str, excluded: &str) -> Finding {
    let remedy = format!(
        "look up the field notes: correct the {what}, or exclude it with its reason ([[exclude]] what = {excluded:?}); without a reason it stays"
    );
    Finding::warning("outlying-plot", place, text).remedy(remedy)
}

fn typed_harvest(plot: &Plot) -> Option<f64> {
    match plot.harvest? {
        Harvest::Yield { quantity, .. } => Some(quantity.typed()),
        Harvest::Weight { typed, .. } => Some(typed),
    }
}

/// Values with an externally studentised residual from treatment + block that chance would hardly make: each with what is expected of
/// it and its t and p. The most outlying is set aside and the others are fitted again, so that two of them don't hide each other.
fn outlying(view: &View<'_>, mut values: Vec<Value>) -> Vec<(Value, f64, String)> {
    let (treatments, strata) = (view.treatments(), view.strata());
    let most = (MOST_SHARE * values.len() as f64) as usize;
    let mut told = Vec::new();
    loop {
        let level =
            |levels: &[usize]| values.iter().filter_map(|value| levels.get(value.plot).copied()).collect::<Vec<_>>();
        let numbers: Vec<f64> = values.iter().map(|value| value.value).collect();
        let fit = Additive::fit(&level_indices(&level(&treatments)), &level_indices(&level(&strata)), &numbers);
        let Some(fit) = fit.filter(|fit| fit.df() > FEWEST_DEGREES) else { break };
        let Some(judged) = fit.most_outlying(&numbers) else { break };
        let Some(slip) = numbers.get(judged.position).map(|value| slipped_point(*value, &judged)) else { break };
        if judged.p >= if slip.is_some() { SLIP_ALPHA } else { ALPHA } {
            break;
        }
        let count = values.len();
        let value = values.remove(judged.position);
        let slip = slip.map_or_else(String::new, |times| format!("; {times} would fit: a slipped decimal point?"));
        let end = format!(" (t = {:.1}, {} among {count} plots){slip}", judged.t, p_value(judged.p));
        told.push((value, judged.expected, end));
    }
    // So many outliers are a model that does not hold.
    if told.len() > most { Vec::new() } else { told }
}

/// What would fit, where the decimal point one place on makes it.
fn slipped_point(value: f64, judged: &Judged) -> Option<&'static str> {
    // t is the distance from what is expected in standard errors of prediction.
    let error = (value - judged.expected).abs() / judged.t.abs();
    let moved = [("ten times as much", value * 10.0), ("a tenth of it", value / 10.0)];
    let fits = |(_, meant): &(&str, f64)| (meant - judged.expected).abs() <= FITS_WITHIN * error;
    moved.into_iter().find(fits).map(|(times, _)| times)
}
