//! Made-up figures that other tests measure, and a test that writes them out to be looked at.

use crate::figures::{
    BandPoint, CalibrationFigure, CalibrationPoint, Censoring, CurveLine, Figure, IndexBand, MarkedRate, MeanPoint,
    OverlaidCurve, RateFigure, RateSteps, ResidualFigure, ResidualPoint, ResponsePanel, ResponsePanels, Step, Style,
    Width, Words, render,
};

pub(super) const LONG: &str = "Larkwater valley winter wheat after field pea, reduced tillage, upper terrace, \
                    third year of the long-running early by topdress nitrogen comparison";

pub(super) const BLOCKS: usize = 4;

/// Two tables of six and four rows, one interval open above.
pub(super) fn comparison() -> RateFigure {
    let steps = |count: u32, highest: f64, width: f64| -> Vec<Step> {
        let step = |position: u32| {
            let from = 0.7 + width * f64::from(position);
            let rate = highest * (1.0 - f64::from(position) / f64::from(count));
            Step {
                from,
                below: from + width,
                rate,
                low: Some((rate - 18.0).max(0.0)),
                high: Some(rate + 21.0),
                new_site_years: None,
                support: None,
            }
        };
        (0..count).map(step).collect()
    };
    let mut old = steps(6, 120.0, 0.05);
    old[0].high = None;
    RateFigure {
        index_label: "Sufficiency index, leaf chlorophyll".to_owned(),
        rate_unit: "lb/ac".to_owned(),
        table: RateSteps { label: "new: leaf-jointing, harvests 2023 to 2025".to_owned(), steps: steps(4, 95.0, 0.08) },
        earlier: Some(RateSteps { label: "old: leaf-jointing, harvests 2023 to 2024".to_owned(), steps: old }),
        range_text: String::new(),
        interval_text: "95 % interval of the return-maximising rate".to_owned(),
        words: Words { caption: "Made-up rates.".to_owned(), ..Words::default() },
    }
}

/// Residuals of some plots, the third an outlier where there are as many.
pub(super) fn residuals(count: usize) -> ResidualFigure {
    let point = |plot: usize| ResidualPoint {
        name: format!("plot {}", 101 + plot),
        fitted: 55.0 + ((plot * 13) % 29) as f64,
        residual: ((plot * 7) % 11) as f64 - 5.0,
        normal_score: (((plot * 7) % 11) as f64 - 5.0) / 3.0,
        outlier: plot == 2,
    };
    ResidualFigure {
        yield_unit: Some("bu/ac".to_owned()),
        points: (0..count).map(point).collect(),
        normal_slope: Some(3.0),
        words: Words { caption: "Residuals of a made-up trial.".to_owned(), ..Words::default() },
    }
}

/// A quadratic-plateau curve with scatter that differs by plot but not by chance.
pub(super) fn panel(title: Option<&str>, intercept: f64, slope: f64, join: f64, seed: usize) -> ResponsePanel {
    let yield_at = |rate: f64| {
        let r = rate.min(join);
        intercept + slope * r - slope / (2.0 * join) * r * r
    };
    let rates = [0.0, 30.0, 60.0, 90.0, 120.0, 150.0];
    let mut plots = Vec::new();
    let mut means = Vec::new();
    for (i, rate) in rates.into_iter().enumerate() {
        let yields: Vec<f64> = (0..BLOCKS)
            .map(|block| {
                let turn = ((i * 7 + block * 5 + seed * 3) % 11) as f64 - 5.0;
                yield_at(rate) + 0.045 * intercept.abs().max(1.0) * turn / 2.0
            })
            .collect();
        let mean = yields.iter().sum::<f64>() / BLOCKS as f64;
        let variance = yields.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / 3.0;
        plots.extend(yields.iter().map(|y| [rate, *y]));
        means.push(MeanPoint { rate, mean, standard_error: Some((variance / BLOCKS as f64).sqrt()) });
    }
    let dense = || (0..=150).map(|i| f64::from(i) * 1.0);
    let optimum = join * (1.0 - 0.1 / slope);
    ResponsePanel {
        title: title.map(str::to_owned),
        plots,
        means,
        curve: dense().map(|rate| [rate, yield_at(rate)]).collect(),
        curve_line: CurveLine::Response,
        curve_label: "quadratic-plateau".to_owned(),
        band: dense()
            .map(|rate| {
                let half = 0.03 * intercept * (1.0 + ((rate - 75.0) / 75.0).powi(2) * 0.6);
                BandPoint { rate, low: yield_at(rate) - half, high: yield_at(rate) + half }
            })
            .collect(),
        others: Vec::new(),
        tested: [0.0, 150.0],
        optimum: Some(MarkedRate {
            name: "EONR".to_owned(),
            rate: Some(optimum),
            low: Some(optimum - 14.0),
            high: Some(optimum + 17.0),
            label: format!("EONR {optimum:.0} lb/ac ({:.0}\u{a0}to\u{a0}{:.0})", optimum - 14.0, optimum + 17.0),
        }),
        join: Some(MarkedRate {
            name: "join".to_owned(),
            rate: Some(join),
            low: Some(join - 16.0),
            high: Some(join + 24.0).filter(|high| *high <= 150.0),
            label: format!("join {join:.0} lb/ac"),
        }),
    }
}

pub(super) fn flat(title: Option<&str>) -> ResponsePanel {
    let mut flat = panel(title, 61.0, 0.11, 1000.0, 2);
    let mean = 61.5;
    for (i, point) in flat.plots.iter_mut().enumerate() {
        point[1] = mean + ((i * 7) % 11) as f64 - 5.0;
    }
    flat.means.clear();
    flat.curve = vec![[0.0, mean], [150.0, mean]];
    flat.curve_line = CurveLine::NotShown;
    flat.band.clear();
    flat.join = None;
    flat.optimum = Some(MarkedRate {
        name: "EONR".to_owned(),
        rate: Some(0.0),
        low: Some(0.0),
        high: None,
        label: "EONR 0 lb/ac, upper limit open".to_owned(),
    });
    flat
}

pub(super) fn figure(panels: Vec<ResponsePanel>) -> ResponsePanels {
    ResponsePanels {
        rate_name: "N rate".to_owned(),
        rate_unit: Some("lb/ac".to_owned()),
        yield_unit: Some("bu/ac".to_owned()),
        band_level: 0.95,
        panels,
        words: Words {
            caption: "Yield of winter wheat against N rate, Upper Terrace 2024 (made up). n = 24.".to_owned(),
            ..Words::default()
        },
    }
}

/// Varieties × early rates, as a split-plot trial gives them.
pub(super) fn many(count: usize) -> ResponsePanels {
    let names = ["Pale Heron", "Grey Wagtail", "Marsh Tern", "Stone Curlew", "Reed Lark"];
    figure(
        (0..count)
            .map(|i| {
                let title = format!("{}, {} early", names[i % 5], 30 * (i / 5));
                if i == 3 {
                    flat(Some(&title))
                } else {
                    let step = i as f64;
                    panel(Some(&title), 36.0 + 2.0 * step, 0.62 - 0.03 * step, 122.0 - 5.0 * step, i)
                }
            })
            .collect(),
    )
}

/// As [`many`], with further curves over each panel.
pub(super) fn overlaid(count: usize, curves: usize) -> ResponsePanels {
    let mut all = many(count);
    for panel in &mut all.panels {
        (panel.optimum, panel.join) = (None, None);
        panel.band.clear();
        let curve = panel.curve.clone();
        let shifted = |line: usize| OverlaidCurve {
            line,
            label: format!("linear-plateau, ΔAICc {line}.3"),
            points: curve.iter().map(|[rate, y]| [*rate, y + 0.02 * line as f64 * (rate - 60.0)]).collect(),
        };
        panel.others = (0..curves).map(shifted).collect();
    }
    all
}

pub(super) fn calibration(site_years: usize) -> CalibrationFigure {
    let sites = ["Upper Terrace", "Osier Bend", "Chalk Rise", "Larkwater Mill", "Long Fallow"];
    let line = |index: f64| 96.0 - 330.0 * (index - 0.70);
    let mut points = Vec::new();
    for site in 0..site_years {
        let name = format!("{} {}", sites[site % 5], 2021 + site / 5);
        for (k, base) in [0.71, 0.78, 0.85, 0.92, 0.985].into_iter().enumerate() {
            let turn = ((site * 5 + k * 7) % 13) as f64 - 6.0;
            let index = base + 0.0027 * turn + 0.004 * (site % 4) as f64;
            let need = (line(index) + 2.4 * (((site * 3 + k * 4) % 11) as f64 - 5.0)).max(0.0);
            let censored = match (k, site % 3) {
                (0, 1) => Censoring::AtLeast,
                (4, 0) => Censoring::AtMost,
                _ => Censoring::None,
            };
            let known = censored == Censoring::None;
            points.push(CalibrationPoint {
                index,
                need,
                low: known.then_some(need - 11.0 - turn.abs()),
                high: known.then_some(need + 12.0 + turn.abs()),
                site_year: name.clone(),
                censored,
            });
        }
    }
    let dense = || (0..=60).map(|i| 0.70 + 0.005 * f64::from(i));
    CalibrationFigure {
        index_label: "Sufficiency index, leaf chlorophyll".to_owned(),
        need_unit: Some("lb/ac".to_owned()),
        points,
        relation: dense().map(|index| [index, line(index)]).collect(),
        relation_label: "linear relation".to_owned(),
        band: dense()
            .map(|index| {
                let half = 7.0 + 60.0 * (index - 0.85).abs();
                IndexBand { index, low: line(index) - half, high: line(index) + half }
            })
            .collect(),
        band_text: "95% band, by site-year".to_owned(),
        interval_text: "95% interval of the need".to_owned(),
        domain: [0.70, 1.0],
        table_range: Some([0.75, 0.95]),
        critical: None,
        words: Words { caption: "N need against sufficiency index (made up).".to_owned(), ..Words::default() },
    }
}

#[test]
#[ignore = "writes pictures to be looked at into the folder named by STOOK_FIGURES"]
fn demo_figures_are_written_where_asked() {
    let Ok(folder) = std::env::var("STOOK_FIGURES") else {
        return;
    };
    let save = |name: &str, rendered: crate::figures::Rendered| {
        let path = std::path::Path::new(&folder);
        std::fs::write(path.join(format!("{name}.svg")), rendered.svg).unwrap();
        std::fs::write(path.join(format!("{name}.png")), rendered.png).unwrap();
    };
    for (label, width) in [("single", Width::SingleColumn), ("double", Width::DoubleColumn)] {
        let style = Style { width, ..Style::default() };
        for (name, input) in [
            ("one", figure(vec![panel(None, 40.3, 0.6, 120.0, 1)])),
            ("flat", figure(vec![flat(None)])),
            ("three", many(3)),
            ("eight", many(8)),
            ("ten", many(10)),
        ] {
            save(&format!("{name}-{label}"), render(&Figure::Response(input), &style).unwrap());
        }
        let mut si = many(2);
        si.rate_unit = Some("kg ha⁻¹".to_owned());
        si.yield_unit = Some("Mg ha⁻¹".to_owned());
        for member in &mut si.panels {
            member.title = Some("Pale Heron winter wheat after field pea, reduced tillage".to_owned());
            member.curve_label = member.title.clone().unwrap_or_default();
            member.join = member.optimum.clone();
        }
        si.panels[1].curve_label = "linear-plateau".to_owned();
        save(&format!("si-{label}"), render(&Figure::Response(si), &style).unwrap());
        for (name, figure) in super::made_up::all() {
            let name = name.replace([',', ' ', '×'], "-");
            save(&format!("{name}-{label}"), render(&figure, &style).unwrap());
        }
        for count in [1, 4, 12, 20] {
            let rendered = render(&Figure::Calibration(calibration(count)), &style).unwrap();
            save(&format!("calibration-{count}-{label}"), rendered);
        }
    }
}
