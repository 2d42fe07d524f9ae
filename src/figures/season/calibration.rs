//! Calibration of each table.

use super::{CURVE_POINTS, Material, NamedFigure, instrument_name, percent};
use crate::calibration::{Bound, Calibration, NeedPoint, Word};
use crate::figures::{CalibrationFigure, CalibrationPoint, Censoring, Figure, IndexBand, MarkedIndex, Wording, Words};
use crate::season::TableResult;

/// One figure a table that has any point.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let described = |result: &TableResult| {
        let name = format!("{}-calibration", result.specification.name);
        Some(NamedFigure { name, figure: Figure::Calibration(calibration_figure(material, result)?) })
    };
    material.season.tables.iter().filter_map(described).collect()
}

fn calibration_figure(material: Material<'_>, result: &TableResult) -> Option<CalibrationFigure> {
    let Material { season, wording, .. } = material;
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
            Some(IndexBand { index: *index, low: wording.rate(low), high: wording.rate(high) })
        };
        indices.iter().filter_map(at).collect()
    });
    let instrument = instrument_name(specification.instrument);
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
         table; shade: outside the calibrated indices. The rule gives no rate below zero.{critical}{worth}",
        specification.stages.0,
        specification.stages.1,
        kind,
        percent = percent(level, wording),
        critical = words_of_critical_index(result, wording),
        worth = worth(result),
    );
    let relation_drawn: Vec<[f64; 2]> = relation.map_or_else(Vec::new, |relation| {
        indices.iter().map(|index| [*index, wording.rate(relation.need(*index))]).collect()
    });
    let finding = match (relation_drawn.first(), relation_drawn.last()) {
        (Some([from, most]), Some([to, least])) => format!(
            "N need by the {kind} relation: {} {unit} at an index of {} and {} {unit} at {}.{}",
            wording.number(*most, 0),
            wording.number(*from, 2),
            wording.number(*least, 0),
            wording.number(*to, 2),
            worth(result),
            unit = wording.rate_unit(),
        ),
        _ => format!("{} calibration points, no relation.", calibration.points.len()),
    };
    let title = format!(
        "N need against sufficiency index, {instrument}, {} to {}",
        specification.stages.0, specification.stages.1
    );
    let figure = CalibrationFigure {
        index_label: format!("Sufficiency index, {instrument}"),
        need_unit: Some(wording.rate_unit().to_owned()),
        points: points(calibration, wording),
        relation: relation_drawn,
        relation_label: format!("{} relation", kind),
        band,
        band_text: format!("{} % over site-years", percent(level, wording)),
        interval_text: format!("{} % interval of the need", percent(level, wording)),
        domain: [lowest, highest],
        table_range: table_range(result),
        critical: critical_index(result, wording),
        words: Words { title, caption, finding },
    };
    (!figure.points.is_empty()).then_some(figure)
}

fn critical_index(result: &TableResult, wording: &Wording) -> Option<MarkedIndex> {
    let index = &result.classifier.as_ref().ok()?.critical.as_ref().ok()?.index;
    let estimate = index.estimate?;
    let shown = |index: f64| wording.number(index, 2);
    let limits = match (index.low, index.high) {
        (Some(low), Some(high)) => {
            format!(" ({} %: {} to {})", percent(index.level, wording), shown(low), shown(high))
        }
        _ => String::new(),
    };
    let label =
        format!("critical index {}{}", shown(estimate), limits.replace(' ', "\u{a0}").replacen('\u{a0}', " ", 1));
    Some(MarkedIndex { index: estimate, low: index.low, high: index.high, label })
}

/// How the critical index was found and how well it parts the treatments, for the caption.
fn words_of_critical_index(result: &TableResult, wording: &Wording) -> String {
    let Ok(classifier) = &result.classifier else { return String::new() };
    let Ok(critical) = &classifier.critical else { return String::new() };
    let of =
        |total: Option<f64>| total.map_or_else(|| "none".to_owned(), |share| wording.number(100.0 * share, 0) + " %");
    let held_out = critical.held_out_total;
    let interval = match (critical.index.low, critical.index.high) {
        (Some(_), Some(_)) => {
            format!(", bar: its {} % interval from resampled site-years", percent(critical.index.level, wording))
        }
        _ => String::new(),
    };
    format!(
        " Broken upright line: the critical index, which parts treatments that need more than {} {} of N from those that don't (Youden's J; {} \
         deficient and {} sufficient treatments, {} undecided){interval}; by site-years held out it finds {} of the deficient and {} of the sufficient.",
        wording.number(wording.rate(classifier.threshold), 0),
        wording.rate_unit(),
        classifier.deficient,
        classifier.sufficient,
        classifier.undecided,
        of(held_out.sensitivity()),
        of(held_out.specificity()),
    )
}

/// What held-out site-years say of the sensor, for the caption.
pub(super) fn worth(result: &TableResult) -> String {
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

fn points(calibration: &Calibration, wording: &Wording) -> Vec<CalibrationPoint> {
    // Where the whole interval lies past the tested rates it is extrapolated: the arrow of the bound says enough.
    let extrapolated =
        |point: &NeedPoint| point.bound() == Bound::AtLeast && point.low.is_some_and(|low| low > point.need);
    let point = |point: &NeedPoint| CalibrationPoint {
        index: point.index,
        need: wording.rate(point.need),
        low: point.low.filter(|_| !extrapolated(point)).map(|low| wording.rate(low)),
        high: point.high.filter(|_| !extrapolated(point)).map(|high| wording.rate(high)),
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
