//! Made-up net returns and optima against price, ordinary and extreme, that other tests measure.

use super::demo::LONG;
use crate::figures::{
    BestRate, Censoring, NearOptimumRange, NetReturnFigure, NetReturnLine, NetReturnPanel, PriceBandPoint, PriceMark,
    PricePanel, PriceResponseFigure, PriceStretch, Words,
};

/// Net returns of `panels` groups at `lines` price ratios; the fourth group's response is not shown, the second's best rates are bounds.
pub(super) fn net_returns(panels: usize, lines: usize) -> NetReturnFigure {
    let line = |panel: usize, position: usize| {
        let ratio = 0.3 + 0.25 * position as f64;
        let value = |rate: f64| 240.0 + 10.0 * panel as f64 + 2.4 * rate - 0.01 * rate * rate - ratio * rate;
        let best = ((2.4 - ratio) / 0.02).clamp(0.0, 150.0);
        let bound = if panel == 1 { [Censoring::AtLeast, Censoring::AtMost][position % 2] } else { Censoring::None };
        NetReturnLine {
            points: (0..=75).map(|step| 2.0 * f64::from(step)).map(|rate| [rate, value(rate)]).collect(),
            best: Some(BestRate { rate: best, net_return: value(best), bound }),
        }
    };
    let panel = |panel: usize| NetReturnPanel {
        title: (panels > 1).then(|| format!("Pale Heron, {} lb/ac early", 30 * panel)),
        lines: if panel == 3 { Vec::new() } else { (0..lines).map(|position| line(panel, position)).collect() },
        near_optimum: (panel != 3).then(|| NearOptimumRange {
            low: 82.0,
            high: 127.0,
            label: "near-optimum 82 to 127 lb/ac".to_owned(),
        }),
        remark: if panel == 3 { "response not shown".to_owned() } else { String::new() },
    };
    let ratio = |position: usize| format!("price ratio {:.2} bu per lb N", 0.05 + 0.04 * position as f64);
    NetReturnFigure {
        rate_name: "N rate".to_owned(),
        rate_unit: Some("lb/ac".to_owned()),
        return_unit: Some("USD/ac".to_owned()),
        ratios: (0..lines).map(ratio).collect(),
        near_text: "within 1 % of the best net return".to_owned(),
        panels: (0..panels).map(panel).collect(),
        words: Words { caption: "Made-up returns.".to_owned(), ..Words::default() },
    }
}

/// Optima of `panels` groups against price: a number, a bound from below at low prices, one from above, and a response that is not shown.
pub(super) fn price_responses(panels: usize) -> PriceResponseFigure {
    let ratios = || (0..=40).map(|step| 0.0075 * f64::from(step));
    let rate = |ratio: f64| (160.0 - 420.0 * ratio).clamp(0.0, 150.0);
    let stretch = |bound, points: Vec<[f64; 2]>| PriceStretch { bound, points };
    let panel = |panel: usize| {
        let all: Vec<[f64; 2]> = ratios().map(|ratio| [ratio, rate(ratio)]).collect();
        let line = match panel % 4 {
            0 => vec![stretch(Censoring::AtLeast, all[..4].to_vec()), stretch(Censoring::None, all[3..].to_vec())],
            1 => vec![stretch(Censoring::None, all.clone())],
            2 => vec![stretch(Censoring::AtMost, all.clone())],
            _ => Vec::new(),
        };
        let band = |ratio: f64| PriceBandPoint {
            ratio,
            low: (rate(ratio) - 31.0).max(0.0),
            high: (rate(ratio) + 44.0).min(150.0),
        };
        let mark = |(ratio, base)| PriceMark { ratio, rate: rate(ratio), base };
        let marks = [(0.1, true), (0.05, false), (0.15, false)];
        PricePanel {
            title: (panels > 1).then(|| format!("Pale Heron, {} lb/ac early", 30 * panel)),
            marks: if line.is_empty() { Vec::new() } else { marks.into_iter().map(mark).collect() },
            line,
            bands: vec![ratios().map(band).collect()],
            tested: [0.0, 150.0],
            note: if panel % 4 == 3 { "response not shown" } else { "EONR 118 lb/ac" }.to_owned(),
        }
    };
    PriceResponseFigure {
        rate_name: "EONR".to_owned(),
        rate_unit: Some("lb/ac".to_owned()),
        ratio_unit: Some("bu per lb N".to_owned()),
        band_text: "95 % interval within the tested rates".to_owned(),
        base_text: "base price ratio, 0.1 bu per lb N".to_owned(),
        others_text: "other price ratios: 0.05, 0.15".to_owned(),
        panels: (0..panels).map(panel).collect(),
        words: Words { caption: "Made-up optima.".to_owned(), ..Words::default() },
    }
}

/// Ordinary net returns, and every extreme that a layout must hold.
pub(super) fn net_return_cases() -> Vec<(String, NetReturnFigure)> {
    let mut cases: Vec<(String, NetReturnFigure)> = [(1, 1), (1, 3), (2, 3), (4, 3), (8, 5), (24, 3), (1, 12), (6, 12)]
        .into_iter()
        .map(|(panels, lines)| (format!("{panels} panels of {lines} ratios"), net_returns(panels, lines)))
        .collect();
    for (name, factor, shift) in [
        ("tiny range", 1e-7, 64.0),
        ("large range", 2.5e6, 0.0),
        ("about zero", 1.0, -340.0),
        ("below zero", 1.0, -9e3),
    ] {
        let mut scaled = net_returns(4, 3);
        let lines = scaled.panels.iter_mut().flat_map(|panel| &mut panel.lines);
        for line in lines {
            let best = line.best.iter_mut().map(|best| &mut best.net_return);
            line.points
                .iter_mut()
                .map(|[_, value]| value)
                .chain(best)
                .for_each(|value| *value = *value * factor + shift);
        }
        cases.push((name.to_owned(), scaled));
    }
    let mut point = net_returns(1, 1);
    point.panels[0].lines[0].points.truncate(1);
    (point.rate_unit, point.return_unit) = (None, None);
    cases.push(("one point".to_owned(), point));
    let mut long = net_returns(4, 3);
    long.return_unit = Some("kilograms of nitrogen a hectare, applied".to_owned());
    long.near_text = LONG.to_owned();
    long.ratios.iter_mut().for_each(|ratio| *ratio = LONG.to_owned());
    for panel in &mut long.panels {
        (panel.title, panel.remark) = (Some(LONG.to_owned()), LONG.to_owned());
        panel.near_optimum.iter_mut().for_each(|near| near.label = LONG.to_owned());
    }
    cases.push(("long labels".to_owned(), long));
    cases
}

/// The same of optima against price.
pub(super) fn price_cases() -> Vec<(String, PriceResponseFigure)> {
    let mut cases: Vec<(String, PriceResponseFigure)> =
        [1, 2, 4, 8, 24].into_iter().map(|panels| (format!("{panels} panels"), price_responses(panels))).collect();
    for (name, of_ratio, of_rate) in [("tiny", 1e-6, 1e-5), ("large", 3.7e4, 8.1e5)] {
        let mut scaled = price_responses(4);
        for panel in &mut scaled.panels {
            for [ratio, rate] in panel.line.iter_mut().flat_map(|stretch| &mut stretch.points) {
                (*ratio, *rate) = (*ratio * of_ratio, *rate * of_rate);
            }
            for point in panel.bands.iter_mut().flatten() {
                (point.ratio, point.low, point.high) =
                    (point.ratio * of_ratio, point.low * of_rate, point.high * of_rate);
            }
            for mark in &mut panel.marks {
                (mark.ratio, mark.rate) = (mark.ratio * of_ratio, mark.rate * of_rate);
            }
            panel.tested[1] *= of_rate;
        }
        cases.push((name.to_owned(), scaled));
    }
    let mut point = price_responses(1);
    point.panels[0].line.truncate(1);
    point.panels[0].line[0].points.truncate(1);
    point.panels[0].bands.clear();
    point.panels[0].marks.clear();
    (point.rate_unit, point.ratio_unit) = (None, None);
    cases.push(("one point".to_owned(), point));
    let mut long = price_responses(4);
    long.ratio_unit = Some("kilograms of nitrogen a hectare, applied".to_owned());
    for text in [&mut long.band_text, &mut long.base_text, &mut long.others_text] {
        *text = LONG.to_owned();
    }
    for panel in &mut long.panels {
        (panel.title, panel.note) = (Some(LONG.to_owned()), LONG.to_owned());
    }
    cases.push(("long labels".to_owned(), long));
    cases
}
