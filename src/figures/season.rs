//! The figures of a season: yield response of each trial, calibration of each table.

use rayon::prelude::*;

use super::response::MOST_PANELS;
use super::{
    BandPoint, CalibrationFigure, CalibrationPoint, Card, Censoring, CurveLine, FigureError, IndexBand, MarkedRate,
    MeanPoint, Rendered, ResidualFigure, ResponsePanel, ResponsePanels, Style, Width, render_calibration, render_card,
    render_residuals, render_response,
};
use crate::calibration::{Bound, Calibration, NeedPoint, Relation, Word};
use crate::experiment::anova::Analysed;
use crate::experiment::{Fitted, FittedGroup};
use crate::finding::{Finding, Place};
use crate::response::{Curve, Family, OptimumStatus, Reach};
use crate::season::{Season, TableResult, TrialResult};
use crate::stats::interval::Interval;
use crate::trial::{Instrument, NeedFrom, Trial};

/// Points of a drawn curve: at 175 mm and 300 dots per inch a panel is about 900 dots wide.
const CURVE_POINTS: usize = 241;

/// A figure and the name of its files.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedFigure {
    /// Name without an ending.
    pub name: String,
    /// The figure.
    pub rendered: Rendered,
}

/// Every figure of a season, in the order of its trials and tables. A trial without any yield, and a table without any point, has
/// none.
///
/// A figure that cannot be drawn is left out, with a warning that says why.
#[must_use]
pub fn season_figures(season: &Season) -> (Vec<NamedFigure>, Vec<Finding>) {
    let responses: Vec<(String, ResponsePanels)> = season
        .programme
        .trials
        .iter()
        .zip(&season.trials)
        .flat_map(|(trial, result)| pages(&trial.folder, &response_panels(season, trial, result)))
        .collect();
    let calibrations: Vec<(String, CalibrationFigure)> = season
        .tables
        .iter()
        .filter_map(|result| {
            Some((format!("{}-calibration", result.specification.name), calibration_figure(season, result)?))
        })
        .collect();
    let drawn_responses = responses.into_par_iter().map(|(name, panels)| {
        let width = if panels.panels.len() == 1 { Width::SingleColumn } else { Width::DoubleColumn };
        (name, render_response(&panels, &Style { width, ..Style::default() }))
    });
    let drawn_calibrations = calibrations.into_par_iter().map(|(name, figure)| {
        (name, render_calibration(&figure, &Style { width: Width::DoubleColumn, ..Style::default() }))
    });
    let drawn: Vec<(String, Result<Rendered, FigureError>)> = drawn_responses.chain(drawn_calibrations).collect();
    gathered(drawn)
}

/// The residuals of every trial that was analysed and leaves an error.
///
/// A figure that cannot be drawn is left out, with a warning that says why.
#[must_use]
pub fn residual_figures(analysed: &[Analysed]) -> (Vec<NamedFigure>, Vec<Finding>) {
    let of_trial = |one: &Analysed| {
        let (_, trial) = one.key.iter().find(|(name, _)| name == "trial")?;
        Some((format!("{trial}-residuals"), ResidualFigure::of(one.outcome.as_ref().ok()?, trial)?))
    };
    let style = Style { width: Width::DoubleColumn, ..Style::default() };
    let figures: Vec<(String, ResidualFigure)> = analysed.iter().filter_map(of_trial).collect();
    gathered(figures.into_par_iter().map(|(name, figure)| (name, render_residuals(&figure, &style))).collect())
}

/// The card of every table of a season, with the table's name.
///
/// A card that does not fit on its page is left out, with a warning that says why.
#[must_use]
pub fn season_cards(season: &Season) -> (Vec<(String, Card)>, Vec<Finding>) {
    let (mut cards, mut left_out) = (Vec::new(), Vec::new());
    for (result, table) in season.tables.iter().filter_map(|result| Some((result, result.derived.table.as_ref().ok()?)))
    {
        let name = &result.specification.name;
        match render_card(table) {
            Ok(card) => cards.push((name.clone(), card)),
            Err(error) => {
                let place = Place::file(format!("tables/{name}.card.svg"));
                left_out.push(Finding::warning("card-left-out", place, format!("there is no card: {error}")));
            }
        }
    }
    (cards, left_out)
}

/// What could be drawn, and a warning for what could not.
fn gathered(drawn: Vec<(String, Result<Rendered, FigureError>)>) -> (Vec<NamedFigure>, Vec<Finding>) {
    let (mut figures, mut left_out) = (Vec::new(), Vec::new());
    for (name, rendered) in drawn {
        match rendered {
            Ok(rendered) => figures.push(NamedFigure { name, rendered }),
            Err(error) => {
                let place = Place::file(format!("figures/{name}.svg"));
                left_out.push(Finding::warning(
                    "figure-left-out",
                    place,
                    format!("the figure cannot be drawn: {error}"),
                ));
            }
        }
    }
    (figures, left_out)
}

/// As many figures as the panels of a trial need.
fn pages(folder: &str, all: &ResponsePanels) -> Vec<(String, ResponsePanels)> {
    let page = |(position, panels): (usize, &[ResponsePanel])| {
        let number = if position == 0 { String::new() } else { format!("-{}", position + 1) };
        (format!("{folder}-response{number}"), ResponsePanels { panels: panels.to_vec(), ..all.clone() })
    };
    all.panels.chunks(MOST_PANELS).enumerate().map(page).collect()
}

fn response_panels(season: &Season, trial: &Trial, result: &TrialResult) -> ResponsePanels {
    let units = &season.programme.units;
    let panels: Vec<ResponsePanel> =
        result.groups.iter().filter_map(|group| panel(season, group, result.groups.len())).collect();
    let (rate_name, against) = match trial.need_from {
        NeedFrom::DifferenceFromOptimum => ("N rate", "N rate"),
        NeedFrom::TopdressResponse => ("Topdress N rate", "topdress N rate, a panel each early N level"),
    };
    let ratio = season.price_ratio.as_ref().map_or(String::new(), |ratio| {
        let unit = ratio.unit.as_deref().unwrap_or_default();
        format!(" EONR: economic optimum N rate at a price ratio of {:.4} {unit}.", ratio.value)
    });
    let percent = percent(season.programme.decisions.level);
    let caption = format!(
        "Yield of {} against {against}, {} ({}, {}). Open circles: plots. Filled circles: treatment means, block effects removed, \
         with their standard error. Line: the chosen curve given its family; shade: its {percent} % profile confidence band. \
         Bar above the rate axis: {percent} % profile interval of the optimum, an arrow where it is open or goes past the tested \
         rates.{ratio} A broken line: a response was not shown.",
        season.programme.crop.name,
        trial.site_year(),
        trial.folder,
        trial.design.name().replace('-', " "),
    );
    ResponsePanels {
        rate_name: rate_name.to_owned(),
        rate_unit: Some(units.n_rate.to_string()),
        yield_unit: Some(units.yields.to_string()),
        band_level: season.programme.decisions.level,
        panels,
        caption,
    }
}

fn panel(season: &Season, group: &FittedGroup, panels: usize) -> Option<ResponsePanel> {
    let observed = &group.group;
    if observed.rates.is_empty() {
        return None;
    }
    let labels = observed.key.labels();
    let title: Vec<String> = labels
        .iter()
        .filter(|(name, _)| name != "trial")
        .map(|(name, level)| match name.as_str() {
            "early_n" => format!("{level}\u{a0}{} early", season.programme.units.n_rate),
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
    Some(ResponsePanel {
        title: (panels > 1 && !title.is_empty()).then(|| title.join(", ")),
        plots: observed.rates.iter().zip(&observed.yields).map(|(rate, value)| [*rate, *value]).collect(),
        means: fitted.map_or_else(Vec::new, means),
        curve: curve.map_or_else(Vec::new, |curve| rates.iter().map(|rate| [*rate, curve.value(*rate)]).collect()),
        curve_line: match curve {
            Some(curve) if curve.family == Family::Mean => CurveLine::NotShown,
            _ => CurveLine::Response,
        },
        curve_label: curve.map_or_else(String::new, |curve| curve.family.name().to_owned()),
        band: curve.zip(fitted).map_or_else(Vec::new, |(curve, fitted)| band(season, fitted, curve, &rates)),
        tested: [lowest, highest],
        optimum: optimum(season, group),
        join: curve.and_then(join),
    })
}

/// Evenly spaced rates over the tested range.
fn drawn_rates(curve: &Curve) -> Vec<f64> {
    let step = (curve.highest_rate - curve.lowest_rate) / (CURVE_POINTS - 1) as f64;
    (0..CURVE_POINTS).map(|position| curve.lowest_rate + step * position as f64).collect()
}

fn means(fitted: &Fitted) -> Vec<MeanPoint> {
    let point = |mean: &crate::response::TreatmentMean| MeanPoint {
        rate: mean.rate,
        mean: mean.mean,
        standard_error: mean.standard_error,
    };
    fitted.means.iter().map(point).collect()
}

fn band(season: &Season, fitted: &Fitted, curve: &Curve, rates: &[f64]) -> Vec<BandPoint> {
    let points = fitted.observations.band(curve, rates, season.programme.decisions.level);
    points.iter().filter_map(|point| Some(BandPoint { rate: point.rate, low: point.low?, high: point.high? })).collect()
}

fn optimum(season: &Season, group: &FittedGroup) -> Option<MarkedRate> {
    let found = season.optimum(group)?;
    let unit = season.programme.units.n_rate;
    let interval = &found.optimum.interval;
    let rate = found.optimum.rate?;
    // Limits that lie past the tested rates altogether are extrapolated: an arrow from the highest of them says enough.
    let extrapolated = interval.low.is_some_and(|low| low > rate);
    let limits = if extrapolated { String::new() } else { limits(interval) };
    let label = match found.optimum.status {
        OptimumStatus::NotShown => String::new(),
        OptimumStatus::AtHighestTestedRate => format!("EONR not reached at {rate:.0} {unit} {limits}"),
        OptimumStatus::BeforeFirstRate => format!("EONR at most {rate:.0} {unit} {limits}"),
        _ => format!("EONR {rate:.0} {unit} {limits}"),
    };
    let label = label.trim_end().to_owned();
    let is_point = !matches!(found.optimum.status, OptimumStatus::NotShown | OptimumStatus::BeforeFirstRate);
    Some(MarkedRate {
        name: "EONR".to_owned(),
        rate: is_point.then_some(rate),
        low: if extrapolated { Some(rate) } else { interval.low },
        high: interval.high,
        label,
    })
}

fn join(curve: &Curve) -> Option<MarkedRate> {
    let rate = curve.join.filter(|_| curve.reach == Some(Reach::WithinTestedRates))?;
    Some(MarkedRate { name: "join".to_owned(), rate: Some(rate), low: None, high: None, label: String::new() })
}

/// Limits in brackets, kept on one line by no-break spaces.
fn limits(interval: &Interval) -> String {
    let text = match (interval.low, interval.high) {
        (Some(low), Some(high)) => format!("({low:.0} to {high:.0})"),
        (Some(low), None) => format!("({low:.0} to open)"),
        (None, Some(high)) => format!("(open to {high:.0})"),
        (None, None) => return String::new(),
    };
    text.replace(' ', "\u{a0}")
}

fn calibration_figure(season: &Season, result: &TableResult) -> Option<CalibrationFigure> {
    let calibration = result.derived.calibrations.first()?;
    let specification = &result.specification;
    let relation = calibration.relation().ok();
    let kind = relation.map_or("no", |relation| relation.kind.name());
    let (lowest, highest) = relation.map_or_else(|| domain_of_points(calibration), |relation| relation.domain);
    let step = (highest - lowest) / (CURVE_POINTS - 1) as f64;
    let indices: Vec<f64> = (0..CURVE_POINTS).map(|position| lowest + step * position as f64).collect();
    let level = season.programme.decisions.level;
    let band = calibration.resampled.as_ref().map_or_else(Vec::new, |resampled| {
        let at = |index: &f64| {
            let [low, high] = resampled.need_interval(*index, level)?;
            Some(IndexBand { index: *index, low, high })
        };
        indices.iter().filter_map(at).collect()
    });
    let instrument = match specification.instrument {
        Instrument::CanopyNdvi => "canopy NDVI",
        Instrument::LeafChlorophyll => "leaf chlorophyll",
    };
    let site_years = calibration.taking_part.len();
    let fitted_to = if relation.is_some_and(|relation| relation.kind.is_one_stage()) {
        format!("fitted to the yields of {site_years} site-years with early × topdress trials")
    } else {
        format!("through {} points of {site_years} site-years", calibration.points_taking_part().count())
    };
    let caption = format!(
        "N need against the sufficiency index ({instrument} reading ÷ N-rich reference of the same variety), {} to {}. A point is \
         one variety at one level of N already on, its need the optimum of that site-year minus the N already on, or the optimum \
         topdress within the early level; bars are {percent} % profile intervals of the optimum given its family, arrows are bounds. Line: {} \
         relation {fitted_to}; band: {percent} % by leaving site-years out in turn, its coverage known from simulated programmes alone. \
         Bracket: the indices of the rate \
         table; shade: outside the calibrated indices. The rule gives no rate below zero.{worth}",
        specification.stages.0,
        specification.stages.1,
        kind,
        percent = percent(level),
        worth = worth(result),
    );
    let figure = CalibrationFigure {
        title: None,
        index_label: format!("Sufficiency index, {instrument}"),
        need_unit: Some(season.programme.units.n_rate.to_string()),
        points: points(calibration),
        relation: relation.map_or_else(Vec::new, |relation| drawn_relation(relation, &indices)),
        relation_label: format!("{} relation", kind),
        band,
        band_text: format!("{} % over site-years", percent(level)),
        interval_text: format!("{} % interval of the need", percent(level)),
        domain: [lowest, highest],
        table_range: table_range(result),
        caption,
    };
    (!figure.points.is_empty()).then_some(figure)
}

/// What held-out site-years say of the sensor, for the caption.
fn worth(result: &TableResult) -> String {
    let Some(verdict) = &result.derived.verdict else { return String::new() };
    let site_years = verdict.site_years;
    match verdict.word {
        Word::CannotTellYet => format!(" {site_years} held-out site-years cannot tell yet whether the sensor pays."),
        word => format!(" On {site_years} held-out site-years the sensor {}.", word.name()),
    }
}

fn domain_of_points(calibration: &Calibration) -> (f64, f64) {
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    calibration.points.iter().fold(start, |(low, high), point| (low.min(point.index), high.max(point.index)))
}

fn drawn_relation(relation: &Relation, indices: &[f64]) -> Vec<[f64; 2]> {
    indices.iter().map(|index| [*index, relation.need(*index)]).collect()
}

fn points(calibration: &Calibration) -> Vec<CalibrationPoint> {
    // Where the whole interval lies past the tested rates it is extrapolated: the arrow of the bound says enough.
    let extrapolated =
        |point: &NeedPoint| point.bound() == Bound::AtLeast && point.low.is_some_and(|low| low > point.need);
    let point = |point: &NeedPoint| CalibrationPoint {
        index: point.index,
        need: point.need,
        low: point.low.filter(|_| !extrapolated(point)),
        high: point.high.filter(|_| !extrapolated(point)),
        site_year: point.site_year.clone(),
        censored: match point.bound() {
            Bound::Exact | Bound::Within | Bound::Open => Censoring::None,
            Bound::AtMost => Censoring::AtMost,
            Bound::AtLeast => Censoring::AtLeast,
        },
    };
    calibration.points.iter().map(point).collect()
}

/// The indices of the rows that have a rate.
fn table_range(result: &TableResult) -> Option<[f64; 2]> {
    let document = result.derived.table.as_ref().ok()?.document();
    let mut rated = document.rows.iter().filter(|row| row.rates.iter().any(|rate| rate.rate.is_some()));
    let first = rated.next()?;
    let last = rated.next_back().unwrap_or(first);
    Some([f64::from(first.index_from) / 1_000.0, f64::from(last.index_below) / 1_000.0])
}

fn percent(level: f64) -> String {
    format!("{}", (level * 1_000.0).round() / 10.0)
}
