//! What cannot be drawn is an error that says why, never a panic.

use proptest::prelude::*;

use super::demo::{calibration, figure, many, overlaid, panel, residuals};
use super::means::{amounts, interaction, means, names};
use super::prices::{net_returns, price_responses};
use crate::figures::{
    BandPoint, BestRate, CalibrationPoint, Censoring, Colours, DecimalMark, Figure, FigureError, Levels, MeanPoint,
    OverlaidCurve, PriceBandPoint, ResponsePanels, Style, Width, render,
};

const SMALL: Style = Style {
    width: Width::SingleColumn,
    dots_per_inch: 72,
    colours: Colours::Palette,
    decimal_mark: DecimalMark::Point,
    with_title: false,
};

fn one() -> ResponsePanels {
    figure(vec![panel(None, 40.3, 0.6, 120.0, 1)])
}

#[test]
fn nothing_to_draw_is_refused() {
    let empty = figure(Vec::new());
    assert!(matches!(render(&Figure::Response(empty.clone()), &SMALL), Err(FigureError::Empty { .. })));
    let mut no_points = one();
    no_points.panels[0].plots.clear();
    no_points.panels[0].means.clear();
    assert!(matches!(render(&Figure::Response(no_points.clone()), &SMALL), Err(FigureError::Empty { .. })));
    let mut none = calibration(1);
    none.points.clear();
    assert!(matches!(render(&Figure::Calibration(none.clone()), &SMALL), Err(FigureError::Empty { .. })));
    assert!(matches!(render(&Figure::Residuals(residuals(0)), &SMALL), Err(FigureError::Empty { .. })));
    let mut no_lines = net_returns(2, 2);
    no_lines.panels.iter_mut().for_each(|panel| panel.lines.clear());
    let mut no_optima = price_responses(2);
    no_optima.panels.iter_mut().for_each(|panel| (panel.line.clear(), panel.bands.clear()).0);
    let mut no_means = amounts(3);
    no_means.series[0].means.clear();
    let mut no_such_level = amounts(3);
    no_such_level.series[0].means[2].level = 3;
    for empty in [
        Figure::NetReturn(no_lines),
        Figure::PriceResponse(no_optima),
        Figure::Means(means(Vec::new())),
        Figure::Means(means(vec![no_means])),
        Figure::Means(means(vec![no_such_level])),
    ] {
        assert!(matches!(render(&empty, &SMALL), Err(FigureError::Empty { .. })), "{empty:?}");
    }
}

#[test]
fn more_lines_than_can_be_told_apart_are_refused() {
    let mut curves = overlaid(1, 1);
    curves.panels[0].others[0].line = 12;
    let mut bars = amounts(3);
    bars.bars.extend(bars.bars.clone());
    for figure in [
        Figure::Response(curves),
        Figure::NetReturn(net_returns(2, 13)),
        Figure::Means(means(vec![interaction(13)])),
        Figure::Means(means(vec![bars])),
    ] {
        assert!(matches!(render(&figure, &SMALL), Err(FigureError::TooManyLines { .. })), "{figure:?}");
    }
    for figure in [
        Figure::NetReturn(net_returns(25, 2)),
        Figure::PriceResponse(price_responses(25)),
        Figure::Means(means(vec![names(2); 25])),
    ] {
        assert!(matches!(render(&figure, &SMALL), Err(FigureError::TooManyPanels { count: 25, .. })));
    }
}

#[test]
fn a_number_that_is_not_finite_is_refused_wherever_it_stands() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300] {
        let mut inputs = vec![one(); 8];
        inputs[0].panels[0].plots[3][1] = bad;
        inputs[1].panels[0].means[0].mean = bad;
        inputs[2].panels[0].means[0].standard_error = Some(bad);
        inputs[3].panels[0].curve[9][1] = bad;
        inputs[4].panels[0].band[9].high = bad;
        inputs[5].panels[0].tested[1] = bad;
        inputs[6].panels[0].optimum.as_mut().unwrap().rate = Some(bad);
        inputs[7].panels[0].join.as_mut().unwrap().low = Some(bad);
        for (i, input) in inputs.iter().enumerate() {
            let outcome = render(&Figure::Response(input.clone()), &SMALL);
            assert!(matches!(outcome, Err(FigureError::NotDrawable { .. })), "{i} {bad}");
        }
        let mut inputs = vec![residuals(5); 4];
        inputs[0].points[4].fitted = bad;
        inputs[1].points[0].residual = bad;
        inputs[2].points[1].normal_score = bad;
        inputs[3].normal_slope = Some(bad);
        for (i, input) in inputs.iter().enumerate() {
            let outcome = render(&Figure::Residuals(input.clone()), &SMALL);
            assert!(matches!(outcome, Err(FigureError::NotDrawable { .. })), "{i} {bad}");
        }
        let mut inputs = vec![overlaid(1, 2); 1];
        inputs[0].panels[0].others[1].points[3][1] = bad;
        let mut refused: Vec<Figure> = inputs.into_iter().map(Figure::Response).collect();
        let mut inputs = vec![net_returns(2, 2); 5];
        inputs[0].panels[1].lines[1].points[3][0] = bad;
        inputs[1].panels[0].lines[0].points[3][1] = bad;
        inputs[2].panels[0].lines[0].best.as_mut().unwrap().rate = bad;
        inputs[3].panels[0].lines[0].best.as_mut().unwrap().net_return = bad;
        inputs[4].panels[0].near_optimum.as_mut().unwrap().high = bad;
        refused.extend(inputs.into_iter().map(Figure::NetReturn));
        let mut inputs = vec![price_responses(2); 6];
        inputs[0].panels[1].line[0].points[3][0] = bad;
        inputs[1].panels[1].line[0].points[3][1] = bad;
        inputs[2].panels[0].bands[0][3].ratio = bad;
        inputs[3].panels[0].bands[0][3].high = bad;
        inputs[4].panels[0].marks[0].rate = bad;
        inputs[5].panels[0].tested[1] = bad;
        refused.extend(inputs.into_iter().map(Figure::PriceResponse));
        let mut inputs = vec![means(vec![amounts(4)]); 4];
        inputs[0].panels[0].series[0].means[1].mean = bad;
        inputs[1].panels[0].series[0].means[1].standard_error = Some(bad);
        inputs[2].panels[0].bars[0].length = bad;
        inputs[3].panels[0].levels = Levels::Amounts(vec![0.0, 1.0, 2.0, bad]);
        refused.extend(inputs.into_iter().map(Figure::Means));
        for (i, input) in refused.iter().enumerate() {
            assert!(matches!(render(input, &SMALL), Err(FigureError::NotDrawable { .. })), "{i} {bad}");
        }
        let mut inputs = vec![calibration(1); 5];
        inputs[0].points[0].index = bad;
        inputs[1].points[0].high = Some(bad);
        inputs[2].relation[0][1] = bad;
        inputs[3].band[0].low = bad;
        inputs[4].domain[0] = bad;
        for (i, input) in inputs.iter().enumerate() {
            let outcome = render(&Figure::Calibration(input.clone()), &SMALL);
            assert!(matches!(outcome, Err(FigureError::NotDrawable { .. })), "{i} {bad}");
        }
    }
}

#[test]
fn limits_in_the_wrong_order_are_refused() {
    let mut input = one();
    input.panels[0].tested = [150.0, 0.0];
    assert!(matches!(render(&Figure::Response(input.clone()), &SMALL), Err(FigureError::Reversed { .. })));
    let mut input = one();
    input.panels[0].curve.swap(3, 9);
    assert!(matches!(render(&Figure::Response(input.clone()), &SMALL), Err(FigureError::Reversed { .. })));
    let mut input = calibration(2);
    input.domain = [1.0, 0.7];
    assert!(matches!(render(&Figure::Calibration(input.clone()), &SMALL), Err(FigureError::Reversed { .. })));
}

#[test]
fn sizes_out_of_range_are_refused() {
    for width in [69.9, 300.1, f64::NAN, -85.0] {
        let style = Style { width: Width::Millimetres(width), ..SMALL };
        assert!(matches!(render(&Figure::Response(one()), &style), Err(FigureError::Width(_))), "{width}");
    }
    let fine = Style { width: Width::Millimetres(300.0), dots_per_inch: 1200, ..SMALL };
    let outcome = render(&Figure::Response(many(24)), &fine);
    assert!(matches!(outcome, Err(FigureError::TooManyDots { width: 14_173, .. })), "{outcome:?}");
    let coarse = Style { dots_per_inch: 20, ..SMALL };
    assert_eq!(render(&Figure::Response(one()), &coarse), Err(FigureError::Resolution(20)));
    let outcome = render(&Figure::Response(many(25)), &SMALL);
    assert!(matches!(outcome, Err(FigureError::TooManyPanels { count: 25, .. })));
    let mut input = one();
    input.panels[0].title = Some("x".repeat(201));
    assert!(matches!(
        render(&Figure::Response(input.clone()), &SMALL),
        Err(FigureError::TextTooLong { length: 201, .. })
    ));
    let mut input = one();
    input.yield_unit = Some("x".repeat(41));
    assert!(matches!(
        render(&Figure::Response(input.clone()), &SMALL),
        Err(FigureError::TextTooLong { length: 41, .. })
    ));
}

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => -1e3..1e3_f64,
        2 => Just(0.0),
        1 => -1e12..1e12_f64,
        1 => -1e-12..1e-12_f64,
        1 => prop::sample::select(vec![1e12, -1e12, 1e-300, 5e-324, 1e-6, 999_999_999_999.0]),
        1 => any::<f64>(),
    ]
}

fn input_sorted(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    sorted
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn no_numbers_make_a_figure_panic(
        plots in prop::collection::vec([any_number(), any_number()], 0..6),
        curve in prop::collection::vec([any_number(), any_number()], 0..6),
        limits in [prop::option::of(any_number()), prop::option::of(any_number()), prop::option::of(any_number())],
        spread in any_number(),
        title in prop::option::of(".{0,40}"),
    ) {
        let mut input = one();
        let only = &mut input.panels[0];
        only.title = title.clone();
        only.tested = plots.first().copied().unwrap_or([0.0, 1.0]);
        only.tested.sort_by(f64::total_cmp);
        only.means = plots
            .iter()
            .map(|[rate, mean]| MeanPoint { rate: *rate, mean: *mean, standard_error: Some(spread.abs()) })
            .collect();
        only.plots = plots.clone();
        only.curve = curve.clone();
        only.curve.sort_by(|a, b| a[0].total_cmp(&b[0]));
        only.band = only
            .curve
            .iter()
            .map(|[rate, y]| BandPoint { rate: *rate, low: y - spread.abs(), high: y + spread.abs() })
            .collect();
        if let Some(optimum) = &mut only.optimum {
            [optimum.rate, optimum.low, optimum.high] = limits;
        }
        only.others = vec![OverlaidCurve { line: 3, label: title.clone().unwrap_or_default(), points: only.curve.clone() }];
        let _ = render(&Figure::Response(input.clone()), &SMALL);

        let mut input = net_returns(2, 2);
        let line = &mut input.panels[0].lines[1];
        line.points = input_sorted(&curve);
        line.best = Some(BestRate { rate: spread, net_return: spread, bound: Censoring::AtMost });
        input.panels[1].title.clone_from(&title);
        let _ = render(&Figure::NetReturn(input), &SMALL);

        let mut input = price_responses(3);
        input.panels[0].line[0].points = input_sorted(&curve);
        input.panels[2].line[0].points = input_sorted(&curve);
        input.panels[1].bands = vec![
            input_sorted(&curve)
                .iter()
                .map(|[ratio, low]| PriceBandPoint { ratio: *ratio, low: *low, high: low + spread.abs() })
                .collect(),
        ];
        input.panels[1].tested = [0.0, spread.abs()];
        let _ = render(&Figure::PriceResponse(input), &SMALL);

        let mut input = means(vec![amounts(6), names(6), interaction(3)]);
        for panel in &mut input.panels {
            for (mean, [value, error]) in panel.series[0].means.iter_mut().zip(&plots) {
                (mean.mean, mean.standard_error) = (*value, Some(error.abs()));
            }
            panel.bars[0].length = spread.abs();
            panel.title = title.clone().unwrap_or_default();
        }
        input.panels[0].levels = Levels::Amounts((0..6).map(|level| plots.get(level).map_or(0.0, |[x, _]| *x)).collect());
        let _ = render(&Figure::Means(input), &SMALL);

        let mut input = calibration(2);
        input.points = plots
            .iter()
            .map(|[index, need]| CalibrationPoint {
                index: *index,
                need: *need,
                low: limits[0],
                high: limits[1],
                site_year: "Upper Terrace 2024".to_owned(),
                censored: Censoring::AtLeast,
            })
            .collect();
        input.relation = curve;
        input.relation.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let _ = render(&Figure::Calibration(input.clone()), &SMALL);
    }
}
