//! What cannot be drawn is an error that says why, never a panic.

use proptest::prelude::*;

use super::demo::{calibration, figure, many, overlaid, panel, residuals};
use super::made_up::{agreement, forgone, map, rates, readings, with_critical_index};
use super::means::{amounts, interaction, means, names};
use super::prices::{net_returns, price_responses};
use super::svg_reader::drawn;
use crate::figures::{
    AgreementPoint, BandPoint, BestRate, CalibrationPoint, Censoring, Colours, DecimalMark, Figure, FigureError,
    ForgoneRow, Levels, MapPlot, MeanPoint, OverlaidCurve, PriceBandPoint, ReadingMean, ResponsePanels, Step, Style,
    Width, render,
};

const SMALL: Style = Style {
    width: Width::SingleColumn,
    dots_per_inch: 72,
    with_png: true,
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

/// One figure of each kind for every number that it takes, that number bad.
fn with_a_bad_number(bad: f64) -> Vec<Figure> {
    let mut maps = vec![map(2, 2, true)];
    maps[0].plots[1].value = Some(bad);
    let mut of_readings = vec![readings(1, 2); 5];
    of_readings[0].panels[0].means[0].mean = bad;
    of_readings[1].panels[0].means[0].n_on = bad;
    of_readings[2].panels[0].means[0].deviation = Some(bad);
    of_readings[3].panels[0].levels[0].1 = bad;
    of_readings[4].panels[1].plots[0].2 = bad;
    let mut agreements = vec![agreement(2); 3];
    agreements[0].points[0].across = bad;
    agreements[1].points[0].up = bad;
    agreements[2].threshold = Some((bad, String::new()));
    let mut of_forgone = vec![forgone(2); 2];
    of_forgone[0].rows[0].forgone[1] = Some(bad);
    of_forgone[1].mean.as_mut().unwrap().forgone[0] = Some(bad);
    let mut tables = vec![rates(3); 5];
    tables[0].table.steps[0].rate = bad;
    tables[1].table.steps[0].from = bad;
    tables[2].table.steps[0].low = Some(bad);
    tables[3].table.steps[0].new_site_years = Some([0.0, bad]);
    tables[4].earlier = Some(tables[0].table.clone());
    let mut calibrations = vec![with_critical_index(2, None); 2];
    calibrations[0].critical.as_mut().unwrap().index = bad;
    calibrations[1].critical.as_mut().unwrap().high = Some(bad);
    let figures = maps.into_iter().map(Figure::Map);
    let figures = figures.chain(of_readings.into_iter().map(Figure::Readings));
    let figures = figures.chain(agreements.into_iter().map(Figure::Agreement));
    let figures = figures.chain(of_forgone.into_iter().map(Figure::Forgone));
    let figures = figures.chain(tables.into_iter().map(Figure::Rates));
    figures.chain(calibrations.into_iter().map(Figure::Calibration)).collect()
}

#[test]
fn no_kind_of_figure_takes_a_number_that_is_not_finite() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300] {
        for (position, figure) in with_a_bad_number(bad).iter().enumerate() {
            let outcome = render(figure, &SMALL);
            assert!(matches!(outcome, Err(FigureError::NotDrawable { .. })), "{position} {bad}");
        }
    }
}

#[test]
fn a_map_with_two_plots_at_one_place_or_a_field_beyond_the_page_is_refused() {
    let mut twice = map(2, 3, false);
    (twice.plots[4].row, twice.plots[4].column) = (1, 1);
    let outcome = render(&Figure::Map(twice), &SMALL);
    assert!(
        matches!(outcome, Err(FigureError::SamePlace { first, second }) if (first.as_str(), second.as_str()) == ("101", "105"))
    );
    let mut wide = map(2, 3, false);
    wide.plots[5].column = u32::MAX;
    let outcome = render(&Figure::Map(wide), &SMALL);
    assert!(matches!(outcome, Err(FigureError::FieldTooLarge { rows: 2, columns: u32::MAX, .. })));
}

#[test]
fn figures_of_nothing_are_refused() {
    let mut no_plots = map(1, 1, false);
    no_plots.plots.clear();
    let mut no_means = readings(1, 1);
    no_means.panels[0].means.clear();
    let mut no_points = agreement(1);
    no_points.points.clear();
    let mut no_rules = forgone(1);
    no_rules.rows[0].forgone.clear();
    let mut no_rows = rates(1);
    no_rows.table.steps.clear();
    let figures = [
        Figure::Map(no_plots),
        Figure::Readings(no_means),
        Figure::Agreement(no_points),
        Figure::Forgone(no_rules),
        Figure::Rates(no_rows),
    ];
    for (position, figure) in figures.iter().enumerate() {
        assert!(matches!(render(figure, &SMALL), Err(FigureError::Empty { .. })), "{position}");
    }
    let outcome = render(&Figure::Forgone(forgone(61)), &SMALL);
    assert!(matches!(outcome, Err(FigureError::TooManyPanels { count: 61, most: 60 })));
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

proptest! {
    // Six figures a case.
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    #[test]
    fn no_numbers_make_a_newer_kind_of_figure_panic(
        pairs in prop::collection::vec([any_number(), any_number()], 0..5),
        cells in prop::collection::vec((0..120_u32, 0..120_u32), 0..5),
        limits in [prop::option::of(any_number()), prop::option::of(any_number()), prop::option::of(any_number())],
        group in 0..20_usize,
        is_signed in any::<bool>(),
        name in ".{0,40}",
    ) {
        let mut input = map(1, 1, is_signed);
        input.plots = cells
            .iter()
            .zip(limits.iter().cycle())
            .map(|((row, column), value)| MapPlot {
                name: name.clone(),
                row: *row,
                column: *column,
                block: Some(name.clone()),
                value: *value,
                is_reference: is_signed,
            })
            .collect();
        let _ = drawn(&Figure::Map(input), &SMALL);

        let mut input = readings(2, 2);
        let mean = |[n_on, mean]: &[f64; 2]| ReadingMean {
            variety: group,
            n_on: *n_on,
            mean: *mean,
            deviation: limits[0],
            is_reference: is_signed,
        };
        input.panels[0].means = pairs.iter().map(mean).collect();
        input.panels[1].plots = pairs.iter().map(|[n_on, value]| (group, *n_on, *value)).collect();
        input.panels[0].levels = limits.iter().flatten().map(|level| (Some(group), *level)).collect();
        let _ = drawn(&Figure::Readings(input), &SMALL);

        let mut input = agreement(1);
        let point =
            |[across, up]: &[f64; 2]| AgreementPoint { across: *across, up: *up, censored: Censoring::AtLeast, group };
        input.points = pairs.iter().map(point).collect();
        input.threshold = limits[0].map(|limit| (limit, name.clone()));
        let _ = drawn(&Figure::Agreement(input), &SMALL);

        let mut input = forgone(1);
        let row = |[a, b]: &[f64; 2]| ForgoneRow {
            name: name.clone(),
            forgone: [Some(*a), Some(*b)].into_iter().chain(limits).chain([None; 9]).collect(),
            is_lower_bound: is_signed,
        };
        input.rows = pairs.iter().map(row).collect();
        let _ = drawn(&Figure::Forgone(input), &SMALL);

        let mut input = rates(1);
        let step = |[from, rate]: &[f64; 2]| Step {
            from: *from,
            below: from + rate.abs(),
            rate: *rate,
            low: limits[0],
            high: limits[1],
            new_site_years: limits[2].map(|limit| [limit.min(*rate), limit.max(*rate)]),
            support: Some([group as u32, u32::MAX]),
        };
        input.table.steps = pairs.iter().map(step).collect();
        let _ = drawn(&Figure::Rates(input), &SMALL);

        let mut input = with_critical_index(2, limits[0]);
        if let Some(critical) = &mut input.critical {
            (critical.index, critical.high) = (limits[1].unwrap_or(0.9), limits[2]);
        }
        let _ = drawn(&Figure::Calibration(input), &SMALL);
    }
}
