//! What cannot be drawn is an error that says why, never a panic.

use proptest::prelude::*;

use super::demo::{calibration, figure, many, panel, residuals};
use crate::figures::{
    BandPoint, CalibrationPoint, Censoring, Colours, DecimalMark, Figure, FigureError, MeanPoint, ResponsePanels,
    Style, Width, render,
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
        let _ = render(&Figure::Response(input.clone()), &SMALL);

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
