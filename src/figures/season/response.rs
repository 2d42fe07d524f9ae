//! Yield response of each trial.

use std::collections::BTreeSet;

use super::{CURVE_POINTS, Material, NamedFigure, percent};
use crate::experiment::{Fitted, FittedGroup};
use crate::figures::response::MOST_PANELS;
use crate::figures::{
    BandPoint, CurveLine, Figure, MarkedRate, MeanPoint, ResponsePanel, ResponsePanels, Wording, Words,
};
use crate::response::{Curve, Family, OptimumStatus, Reach, TreatmentMean};
use crate::season::{Season, TrialResult};
use crate::stats::interval::Interval;
use crate::trial::{NeedFrom, Trial};

/// One figure a trial that has any yield, of several pages where its panels need them.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let trials = material.season.programme.trials.iter().zip(&material.season.trials);
    trials
        .flat_map(|(trial, result)| pages(&trial.folder, response_panels(material, trial, result), material.wording))
        .collect()
}

/// As many figures as the panels of a trial need.
fn pages(folder: &str, all: ResponsePanels, wording: &Wording) -> Vec<NamedFigure> {
    let page = |(position, panels): (usize, &[ResponsePanel])| {
        let number = if position == 0 { String::new() } else { format!("-{}", position + 1) };
        let finding = panels.iter().map(|panel| finding(panel, wording)).collect::<Vec<_>>().join(" ");
        let words = Words { finding, ..all.words.clone() };
        let figure = Figure::Response(ResponsePanels { panels: panels.to_vec(), words, ..all.clone() });
        NamedFigure { name: format!("{folder}-response{number}"), figure }
    };
    all.panels.chunks(MOST_PANELS).enumerate().map(page).collect()
}

fn response_panels(material: Material<'_>, trial: &Trial, result: &TrialResult) -> ResponsePanels {
    let Material { season, wording, .. } = material;
    let panels: Vec<ResponsePanel> =
        result.groups.iter().filter_map(|group| panel(material, group, result.groups.len())).collect();
    let (rate_name, against) = match trial.need_from {
        NeedFrom::DifferenceFromOptimum => ("N rate", "N rate"),
        NeedFrom::TopdressResponse => ("Topdress N rate", "topdress N rate"),
    };
    let levels = if trial.need_from == NeedFrom::TopdressResponse { ", a panel each early N level" } else { "" };
    let ratio = season.price_ratio.as_ref().map_or(String::new(), |ratio| {
        let unit = ratio.unit.as_ref().map_or("", |_| wording.price_ratio_unit());
        let shown = wording.significant(wording.price_ratio(ratio.value), 4);
        format!(" EONR: economic optimum N rate at a price ratio of {shown} {unit}.")
    });
    let percent = percent(season.programme.decisions.level, wording);
    let plots: usize = panels.iter().map(|panel| panel.plots.len()).sum();
    let blocks = trial.plots.iter().filter_map(|plot| plot.block.as_deref()).collect::<BTreeSet<_>>().len();
    let title = format!("Yield of {} against {against}, {}", season.programme.crop.name, trial.site_year());
    let caption = format!(
        "Yield of {} against {against}{levels}, {} ({}, {}, {blocks} blocks, n = {plots} plots). Open circles: plots. Filled circles: treatment \
         means, block effects removed, with their standard error. Line: the chosen curve given its family; shade: its {percent} % \
         profile confidence band. Bar above the rate axis: {percent} % {} interval of the optimum, an arrow where it is open or goes \
         past the tested rates.{ratio} A broken line: a response was not shown.",
        season.programme.crop.name,
        trial.site_year(),
        trial.folder,
        trial.design.name().replace('-', " "),
        season.options.interval.name(),
    );
    ResponsePanels {
        rate_name: rate_name.to_owned(),
        rate_unit: Some(wording.rate_unit().to_owned()),
        yield_unit: Some(wording.yield_unit().to_owned()),
        band_level: season.programme.decisions.level,
        panels,
        words: Words { title, caption, finding: String::new() },
    }
}

/// What a panel shows, in words.
fn finding(panel: &ResponsePanel, wording: &Wording) -> String {
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

fn panel(material: Material<'_>, group: &FittedGroup, panels: usize) -> Option<ResponsePanel> {
    let Material { season, wording, .. } = material;
    let observed = &group.group;
    if observed.rates.is_empty() {
        return None;
    }
    let labels = observed.key.labels();
    let title: Vec<String> = labels
        .iter()
        .filter(|(name, _)| name != "trial")
        .map(|(name, level)| match name.as_str() {
            "early_n" => format!("{}\u{a0}{} early", wording.rate_of_text(level), wording.rate_unit()),
            _ => level.clone(),
        })
        .collect();
    let fitted = group.outcome.as_ref().ok();
    let curve = fitted.and_then(|fitted| match fitted.detected() {
        Some(false) => fitted.curve(Family::Mean),
        Some(true) | None => fitted.optimum_curve(),
    });
    let rates: Vec<f64> = curve.map_or_else(Vec::new, drawn_rates);
    let lowest = observed.rates.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = observed.rates.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let place = |rate: f64, value: f64| [wording.rate(rate), wording.yields(value)];
    Some(ResponsePanel {
        title: (panels > 1 && !title.is_empty()).then(|| title.join(", ")),
        plots: observed.rates.iter().zip(&observed.yields).map(|(rate, value)| place(*rate, *value)).collect(),
        means: fitted.map_or_else(Vec::new, |fitted| means(fitted, wording)),
        curve: curve.map_or_else(Vec::new, |curve| rates.iter().map(|rate| place(*rate, curve.value(*rate))).collect()),
        curve_line: match curve {
            Some(curve) if curve.family == Family::Mean => CurveLine::NotShown,
            _ => CurveLine::Response,
        },
        curve_label: curve.map_or_else(String::new, |curve| curve.family.name().to_owned()),
        band: curve.zip(fitted).map_or_else(Vec::new, |(curve, fitted)| band(material, fitted, curve, &rates)),
        tested: [lowest, highest].map(|rate| wording.rate(rate)),
        optimum: optimum(season, group, wording),
        join: curve.and_then(|curve| join(curve, wording)),
    })
}

/// Evenly spaced rates over the tested range.
fn drawn_rates(curve: &Curve) -> Vec<f64> {
    let step = (curve.highest_rate - curve.lowest_rate) / (CURVE_POINTS - 1) as f64;
    (0..CURVE_POINTS).map(|position| curve.lowest_rate + step * position as f64).collect()
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
