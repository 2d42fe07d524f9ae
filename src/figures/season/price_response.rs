//! The economic optimum of each trial against the price ratio.

use super::groups;
use super::response::{titled, trials};
use super::{Material, NamedFigure, percent};
use crate::experiment::{FittedGroup, OptimumCurve};
use crate::figures::{
    Censoring, Figure, PriceBandPoint, PriceMark, PricePanel, PriceResponseFigure, PriceStretch, Wording, Words,
};
use crate::response::{Optimum, OptimumStatus};
use crate::season::TrialResult;
use crate::trial::Trial;

/// Price ratios drawn, beside the season's own: the interval of each is searched for.
const RATIOS: usize = 41;
/// The highest ratio drawn, against the highest of the season.
const BEYOND: f64 = 2.0;

/// One figure a trial with any curve, of several pages where its panels need them; none without a price ratio above zero.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let own = &material.season.price_ratios;
    let highest = own.iter().copied().fold(0.0, f64::max);
    if highest <= 0.0 {
        return Vec::new();
    }
    let step = BEYOND * highest / (RATIOS - 1) as f64;
    let mut ratios: Vec<f64> = (0..RATIOS).map(|position| step * position as f64).chain(own.iter().copied()).collect();
    ratios.sort_by(f64::total_cmp);
    ratios.dedup();
    trials(material).flat_map(|(trial, result)| of_trial(material, &ratios, trial, result)).collect()
}

fn of_trial(material: Material<'_>, ratios: &[f64], trial: &Trial, result: &TrialResult) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    let panel = |group: &FittedGroup| {
        let title = titled(result.groups.len(), groups::title(group, wording));
        (!group.group.rates.is_empty()).then(|| panel(material, ratios, group, title))
    };
    let panels: Vec<PricePanel> = result.groups.iter().filter_map(panel).collect();
    let percent = percent(season.programme.decisions.level, wording);
    let [rate_name, levels] = [groups::rate_name(trial.need_from), groups::panelled(trial.need_from)];
    let plots: usize = result.groups.iter().map(|group| group.group.rates.len()).sum();
    let (base, others) = season.price_ratios.split_first().map_or((0.0, Vec::new()), |(base, others)| {
        (*base, others.iter().map(|ratio| wording.significant(wording.price_ratio(*ratio), 4)).collect())
    });
    let others_text = format!("other price ratios: {}", others.join(", "));
    let caption = format!(
        "Economic optimum {rate_name} (EONR) of {} against the price ratio of N to grain{levels}, {}, n = {plots} plots). At a ratio of 0, N costs nothing \
         and the optimum is the agronomic one. Line: the best rate of the curve that the optimum is read from; broken, with arrows, where it is only a bound: \
         at least the highest tested rate (arrow up), or at most the rate drawn (arrow down). Shade: its {percent} % profile interval \
         given the family, where it lies within the tested rates; it may go on beyond the highest (dotted). A group without a line: a \
         response was not shown, and the shade is all that is known of its optimum.",
        season.programme.crop.name,
        groups::trial_words(trial),
    );
    let title = format!("Economic optimum N rate against price ratio, {}", trial.site_year());
    let pages = groups::pages(&format!("{}-price", trial.folder), panels).into_iter();
    let shown =
        pages.filter(|(_, panels)| panels.iter().any(|panel| !panel.line.is_empty() || !panel.bands.is_empty()));
    shown
        .map(|(name, panels)| {
            let finding = panels.iter().map(|panel| finding(panel, wording)).collect::<Vec<_>>().join(" ");
            let figure = Figure::PriceResponse(PriceResponseFigure {
                rate_name: "EONR".to_owned(),
                rate_unit: Some(wording.rate_unit().to_owned()),
                ratio_unit: Some(wording.price_ratio_unit().to_owned()),
                band_text: format!("{percent} % interval within the tested rates"),
                base_text: format!("base price ratio, {}", groups::ratio_text(base, wording)),
                others_text: others_text.clone(),
                panels,
                words: Words { title: title.clone(), caption: caption.clone(), finding },
            });
            NamedFigure { name, figure }
        })
        .collect()
}

fn panel(material: Material<'_>, ratios: &[f64], group: &FittedGroup, title: Option<String>) -> PricePanel {
    let Material { season, wording, .. } = material;
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    let (lowest, highest) = group.group.rates.iter().fold(start, |(low, high), rate| (low.min(*rate), high.max(*rate)));
    let empty = |note: &str| PricePanel {
        title: title.clone(),
        line: Vec::new(),
        bands: Vec::new(),
        marks: Vec::new(),
        tested: [lowest, highest].map(|rate| wording.rate(rate)),
        note: note.to_owned(),
    };
    let Ok(fitted) = &group.outcome else { return empty("no curve can be fitted") };
    let Some(curve) = fitted.curve_for_optimum() else { return empty("no curve is chosen") };
    // The profile, whichever method the season's own intervals are by: a bootstrap at each ratio would take minutes.
    let optima = optima(&curve, ratios, season.programme.decisions.level);
    let bands = bands(&optima, [lowest, highest], wording);
    if curve.detected == Some(false) {
        return PricePanel { bands, ..empty("response not shown") };
    }
    let base = season.price_ratios.first().copied();
    let mark = |(ratio, optimum): &(f64, Optimum)| {
        let shown = season.price_ratios.contains(ratio).then_some(optimum.rate?)?;
        Some(PriceMark { ratio: wording.price_ratio(*ratio), rate: wording.rate(shown), base: Some(*ratio) == base })
    };
    let at_base = optima.iter().find(|(ratio, _)| Some(*ratio) == base);
    let note = at_base.map_or_else(String::new, |(_, optimum)| note(optimum, wording));
    PricePanel {
        line: stretches(&optima, wording),
        bands,
        marks: optima.iter().filter_map(mark).collect(),
        ..empty(&note)
    }
}

/// The optimum at each price ratio.
fn optima(curve: &OptimumCurve, ratios: &[f64], level: f64) -> Vec<(f64, Optimum)> {
    ratios.iter().map(|ratio| (*ratio, curve.optimum(*ratio, level).1)).collect()
}

fn note(optimum: &Optimum, wording: &Wording) -> String {
    let Some(rate) = optimum.rate else { return String::new() };
    let shown = format!("{} {}", wording.number(wording.rate(rate), 0), wording.rate_unit());
    match optimum.status {
        OptimumStatus::AtHighestTestedRate => format!("EONR at least {shown}"),
        OptimumStatus::BeforeFirstRate => format!("EONR at most {shown}"),
        _ => format!("EONR {shown}"),
    }
}

/// The line, cut where it turns into a bound; neighbours share the point in between.
fn stretches(optima: &[(f64, Optimum)], wording: &Wording) -> Vec<PriceStretch> {
    let mut stretches: Vec<PriceStretch> = Vec::new();
    for (ratio, optimum) in optima {
        let Some(rate) = optimum.rate else { continue };
        let point = [wording.price_ratio(*ratio), wording.rate(rate)];
        let bound = groups::censoring(optimum.status);
        match stretches.last_mut() {
            Some(last) if last.bound == bound => last.points.push(point),
            Some(last) => {
                let before = last.points.last().copied();
                // What is a number reaches up to the bound.
                let mut points = vec![point];
                if bound == Censoring::None {
                    points.splice(0..0, before);
                } else {
                    last.points.push(point);
                }
                stretches.push(PriceStretch { bound, points });
            }
            None => stretches.push(PriceStretch { bound, points: vec![point] }),
        }
    }
    stretches
}

/// Unbroken stretches of the interval, as far as it lies within the tested rates.
fn bands(optima: &[(f64, Optimum)], [lowest, highest]: [f64; 2], wording: &Wording) -> Vec<Vec<PriceBandPoint>> {
    let mut bands: Vec<Vec<PriceBandPoint>> = vec![Vec::new()];
    for (ratio, optimum) in optima {
        let interval = &optimum.interval;
        // An interval wholly past the tested rates has no place among them.
        let inside = !interval.segments.is_empty() && interval.low.is_none_or(|low| low <= highest);
        let limits = inside.then(|| {
            [interval.low.unwrap_or(lowest), interval.high.unwrap_or(highest)].map(|end| end.clamp(lowest, highest))
        });
        match (limits, bands.last_mut()) {
            (Some([low, high]), Some(last)) => last.push(PriceBandPoint {
                ratio: wording.price_ratio(*ratio),
                low: wording.rate(low),
                high: wording.rate(high),
            }),
            _ => bands.push(Vec::new()),
        }
    }
    bands.retain(|band| band.len() > 1);
    bands
}

/// The optimum at the base ratio, at no price and at the highest one, in words.
fn finding(panel: &PricePanel, wording: &Wording) -> String {
    let title = panel.title.as_ref().map_or(String::new(), |title| format!("{title}: "));
    let rate = |bound: Censoring, rate: f64| {
        let bound = match bound {
            Censoring::None => "",
            Censoring::AtLeast => "at least ",
            Censoring::AtMost => "at most ",
        };
        format!("{bound}{} {}", wording.number(rate, 0), wording.rate_unit())
    };
    let ends = panel.line.first().zip(panel.line.last()).and_then(|(first, last)| {
        let ([_, at_none], [most, least]) = (first.points.first()?, last.points.last()?);
        let ratio = wording.significant(*most, 3);
        Some(format!(
            ", from {} where N costs nothing to {} at a price ratio of {ratio} {}",
            rate(first.bound, *at_none),
            rate(last.bound, *least),
            wording.price_ratio_unit(),
        ))
    });
    let at_base = if panel.marks.iter().any(|mark| mark.base) { " at the base price ratio" } else { "" };
    format!("{title}{}{at_base}{}.", panel.note, ends.unwrap_or_default())
}
