//! Yield response of each trial.

use super::groups::{self, drawn_rates};
use super::{CURVE_POINTS, Material, NamedFigure, percent};
use crate::experiment::{Fitted, FittedGroup};
use crate::figures::{
    BandPoint, CurveLine, Figure, MarkedRate, MeanPoint, ResponsePanel, ResponsePanels, Wording, Words,
};
use crate::response::{Curve, Family, OptimumStatus, Reach, TreatmentMean};
use crate::season::{Season, TrialResult};
use crate::stats::interval::Interval;
use crate::trial::{NeedFrom, Trial};

/// One figure a trial that has any yield, of several pages where its panels need them.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    trials(material).flat_map(|(trial, result)| of_trial(material, trial, result)).collect()
}

/// The trials with their results.
pub(super) fn trials<'a>(material: Material<'a>) -> impl Iterator<Item = (&'a Trial, &'a TrialResult)> {
    material.season.programme.trials.iter().zip(&material.season.trials)
}

/// As many figures as the panels need, each with what is seen in it: `found` says it of a panel.
pub(super) fn pages(
    material: Material<'_>,
    name: &str,
    need_from: NeedFrom,
    [title, caption]: [String; 2],
    panels: Vec<ResponsePanel>,
    found: impl Fn(&ResponsePanel) -> String,
) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    let page = |(name, panels): (String, Vec<ResponsePanel>)| {
        let finding = panels.iter().map(&found).collect::<Vec<_>>().join(" ");
        let figure = Figure::Response(ResponsePanels {
            rate_name: groups::capitalised(groups::rate_name(need_from)),
            rate_unit: Some(wording.rate_unit().to_owned()),
            yield_unit: Some(wording.yield_unit().to_owned()),
            band_level: season.programme.decisions.level,
            panels,
            words: Words { title: title.clone(), caption: caption.clone(), finding },
        });
        NamedFigure { name, figure }
    };
    groups::pages(name, panels).into_iter().map(page).collect()
}

/// Title where it has one: that of the only group of a trial stands in the caption.
pub(super) fn titled(groups: usize, title: String) -> Option<String> {
    (groups > 1 && !title.is_empty()).then_some(title)
}

fn of_trial(material: Material<'_>, trial: &Trial, result: &TrialResult) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    let panel = |group| panel(material, group, titled(result.groups.len(), groups::title(group, wording)));
    let panels: Vec<ResponsePanel> = result.groups.iter().filter_map(panel).collect();
    let plots: usize = panels.iter().map(|panel| panel.plots.len()).sum();
    let [rate_name, levels] = [groups::rate_name(trial.need_from), groups::panelled(trial.need_from)];
    let crop = &season.programme.crop.name;
    let title = format!("Yield of {crop} against {rate_name}, {}", trial.site_year());
    let caption = format!(
        "Yield of {crop} against {rate_name}{levels}, {}, n = {plots} plots). {}{}",
        groups::trial_words(trial),
        drawn_words(material),
        ratio_words(material),
    );
    let name = format!("{}-response", trial.folder);
    pages(material, &name, trial.need_from, [title, caption], panels, |panel| finding(panel, wording))
}

/// What marks and lines are.
pub(super) fn drawn_words(material: Material<'_>) -> String {
    let Material { season, wording, .. } = material;
    let percent = percent(season.programme.decisions.level, wording);
    format!(
        "Open circles: plots. Filled circles: treatment means, block effects removed, with their standard error. Line: the curve that the \
         optimum is read from, never a line or a square root unless asked for; shade: its {percent} % profile confidence band, given the family. Bar above the rate axis: {percent} % {} interval of the \
         optimum, an arrow where it is open or goes past the tested rates.",
        season.options.interval.name(),
    )
}

/// The price ratio, and what a broken line is.
pub(super) fn ratio_words(material: Material<'_>) -> String {
    let Material { season, wording, .. } = material;
    let ratio = season.price_ratio.as_ref().map_or(String::new(), |ratio| {
        let shown = groups::ratio_text(ratio.value, wording);
        format!(" EONR: economic optimum N rate at a price ratio of {shown}.")
    });
    format!("{ratio} A broken line: a response was not shown.")
}

/// What a panel shows, in words.
pub(super) fn finding(panel: &ResponsePanel, wording: &Wording) -> String {
    let title = panel.title.as_ref().map_or(String::new(), |title| format!("{title}: "));
    let Some(([from, low], [to, high])) = panel.curve.first().zip(panel.curve.last()) else {
        return format!("{title}{} plots, no curve.", panel.plots.len());
    };
    let yields = |value: f64| wording.yield_text(value);
    let rates = format!("{} to {} {}", wording.number(*from, 0), wording.number(*to, 0), wording.rate_unit());
    if panel.curve_line == CurveLine::NotShown {
        return format!("{title}no response shown over {rates}, mean yield {}.", yields(*low));
    }
    let optimum = panel.optimum.as_ref().filter(|optimum| !optimum.label.is_empty());
    let optimum = optimum.map_or(String::new(), |optimum| format!("; {}", optimum.label));
    format!("{title}{} of yield from {} to {} over {rates}{optimum}.", panel.curve_label, yields(*low), yields(*high))
}

pub(super) fn panel(material: Material<'_>, group: &FittedGroup, title: Option<String>) -> Option<ResponsePanel> {
    let Material { season, wording, .. } = material;
    let observed = &group.group;
    if observed.rates.is_empty() {
        return None;
    }
    let fitted = group.outcome.as_ref().ok();
    let curve = fitted.and_then(|fitted| match fitted.detected() {
        Some(false) => fitted.curve(Family::Mean),
        Some(true) | None => fitted.optimum_curve(),
    });
    let rates: Vec<f64> = curve.map_or_else(Vec::new, |curve| drawn_rates(curve, CURVE_POINTS));
    let lowest = observed.rates.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = observed.rates.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let place = |rate: f64, value: f64| [wording.rate(rate), wording.yields(value)];
    Some(ResponsePanel {
        title,
        plots: observed.rates.iter().zip(&observed.yields).map(|(rate, value)| place(*rate, *value)).collect(),
        means: fitted.map_or_else(Vec::new, |fitted| means(fitted, wording)),
        curve: curve.map_or_else(Vec::new, |curve| rates.iter().map(|rate| place(*rate, curve.value(*rate))).collect()),
        curve_line: match curve {
            Some(curve) if curve.family == Family::Mean => CurveLine::NotShown,
            _ => CurveLine::Response,
        },
        curve_label: curve.map_or_else(String::new, |curve| curve.family.name().to_owned()),
        band: curve.zip(fitted).map_or_else(Vec::new, |(curve, fitted)| band(material, fitted, curve, &rates)),
        others: Vec::new(),
        tested: [lowest, highest].map(|rate| wording.rate(rate)),
        optimum: optimum(season, group, wording),
        join: curve.and_then(|curve| join(curve, wording)),
    })
}

fn means(fitted: &Fitted, wording: &Wording) -> Vec<MeanPoint> {
    let point = |mean: &TreatmentMean| MeanPoint {
        rate: wording.rate(mean.rate),
        mean: wording.yields(mean.mean),
        standard_error: mean.standard_error.map(|error| wording.yields(error)),
    };
    fitted.means.iter().map(point).collect()
}

fn band(material: Material<'_>, fitted: &Fitted, curve: &Curve, rates: &[f64]) -> Vec<BandPoint> {
    let Material { season, wording, .. } = material;
    let points = fitted.observations.band(curve, rates, season.programme.decisions.level);
    let shown = points.iter().filter_map(|point| {
        let [low, high] = [point.low?, point.high?].map(|limit| wording.yields(limit));
        Some(BandPoint { rate: wording.rate(point.rate), low, high })
    });
    shown.collect()
}

fn optimum(season: &Season, group: &FittedGroup, wording: &Wording) -> Option<MarkedRate> {
    let found = season.optimum(group)?;
    let unit = wording.rate_unit();
    let interval = &found.optimum.interval;
    let rate = found.optimum.rate?;
    // Limits that lie past the tested rates altogether are extrapolated: an arrow from the highest of them says enough.
    let extrapolated = interval.low.is_some_and(|low| low > rate);
    let shown = |rate: f64| wording.number(wording.rate(rate), 0);
    let limits = if extrapolated { String::new() } else { limits(interval, shown) };
    let label = match found.optimum.status {
        OptimumStatus::NotShown => String::new(),
        OptimumStatus::AtHighestTestedRate => format!("EONR not reached at {} {unit} {limits}", shown(rate)),
        OptimumStatus::BeforeFirstRate => format!("EONR at most {} {unit} {limits}", shown(rate)),
        _ => format!("EONR {} {unit} {limits}", shown(rate)),
    };
    let label = label.trim_end().to_owned();
    let is_point = !matches!(found.optimum.status, OptimumStatus::NotShown | OptimumStatus::BeforeFirstRate);
    Some(MarkedRate {
        name: "EONR".to_owned(),
        rate: is_point.then(|| wording.rate(rate)),
        low: if extrapolated { Some(rate) } else { interval.low }.map(|rate| wording.rate(rate)),
        high: interval.high.map(|rate| wording.rate(rate)),
        label,
    })
}

fn join(curve: &Curve, wording: &Wording) -> Option<MarkedRate> {
    let rate = curve.join.filter(|_| curve.reach == Some(Reach::WithinTestedRates))?;
    let rate = Some(wording.rate(rate));
    Some(MarkedRate { name: "join".to_owned(), rate, low: None, high: None, label: String::new() })
}

/// Limits in brackets, kept on one line by no-break spaces.
fn limits(interval: &Interval, shown: impl Fn(f64) -> String) -> String {
    let text = match (interval.low, interval.high) {
        (Some(low), Some(high)) => format!("({} to {})", shown(low), shown(high)),
        (Some(low), None) => format!("({} to open)", shown(low)),
        (None, Some(high)) => format!("(open to {})", shown(high)),
        (None, None) => return String::new(),
    };
    text.replace(' ', "\u{a0}")
}
