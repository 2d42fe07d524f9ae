//! Nothing overlaps, nothing is cut off, nothing is too small to read.

use std::sync::LazyLock;

use rayon::prelude::*;

use super::demo::{LONG, calibration, comparison, figure, flat, many, overlaid, panel, residuals};
use super::made_up;
use super::means::means_cases;
use super::prices::{net_return_cases, price_cases};
use super::svg_reader::{Page, drawn};
use crate::figures::{BandPoint, Colours, DecimalMark, Figure, MeanPoint, Style, Width};

/// Coordinates in a file are rounded to a hundredth of a unit of 0.005 mm, and a length to the font's units.
const ROUNDING: f64 = 0.01;

/// Every figure that the layout is held to, at each width; laid out once for all tests.
fn pages() -> &'static [(String, Page)] {
    static PAGES: LazyLock<Vec<(String, Page)>> = LazyLock::new(laid_out);
    &PAGES
}

/// The widths of a column, of a page, between them and the least.
const WIDTHS: [Width; 4] =
    [Width::SingleColumn, Width::OneAndAHalfColumns, Width::DoubleColumn, Width::Millimetres(70.0)];

fn laid_out() -> Vec<(String, Page)> {
    let mut responses = vec![
        ("one", figure(vec![panel(None, 40.3, 0.6, 120.0, 1)])),
        ("titled", figure(vec![panel(Some("Pale Heron"), 40.3, 0.6, 120.0, 1)])),
        ("not shown", figure(vec![flat(None)])),
        ("two", many(2)),
        ("three", many(3)),
        ("five", many(5)),
        ("eight", many(8)),
        ("ten", many(10)),
        ("twenty-four", many(24)),
    ];
    let mut long = many(8);
    long.rate_unit = Some("kilograms of nitrogen a hectare, applied".to_owned());
    long.yield_unit = Some("megagrams a hectare, at 13.5% moisture".to_owned());
    for member in &mut long.panels {
        member.title = Some(LONG.to_owned());
        member.curve_label = "a-name-without-any-space-".repeat(7);
        for marked in member.optimum.iter_mut().chain(&mut member.join) {
            marked.label = LONG.to_owned();
            marked.name = LONG.to_owned();
        }
    }
    responses.push(("long labels", long));
    for (name, factor, shift) in
        [("tiny range", 1e-6, 64.0), ("large range", 2.5e8, 0.0), ("near zero", 0.2, -6.0), ("below zero", 1.0, -300.0)]
    {
        let mut scaled = many(8);
        for member in &mut scaled.panels {
            let to = |value: f64| value * factor + shift;
            for point in member.plots.iter_mut().chain(&mut member.curve) {
                point[1] = to(point[1]);
            }
            for mean in &mut member.means {
                mean.mean = to(mean.mean);
                mean.standard_error = mean.standard_error.map(|error| error * factor);
            }
            for band in &mut member.band {
                (band.low, band.high) = (to(band.low), to(band.high));
            }
        }
        responses.push((name, scaled));
    }
    for (name, factor) in [("wide rate labels", 1234.567), ("widest rate labels", 6.5e9)] {
        let mut odd_rates = many(8);
        for member in &mut odd_rates.panels {
            for point in member.plots.iter_mut().chain(&mut member.curve) {
                point[0] *= factor;
            }
            for mean in &mut member.means {
                mean.rate *= factor;
            }
            member.band.clear();
            member.tested = [0.0, 150.0 * factor];
        }
        responses.push((name, odd_rates));
    }
    let mut bare = figure(vec![panel(None, 40.3, 0.6, 120.0, 1)]);
    (bare.rate_unit, bare.yield_unit) = (None, None);
    let only = &mut bare.panels[0];
    only.plots = vec![[0.0, 50.0]];
    only.means.clear();
    only.curve.clear();
    only.band.clear();
    (only.optimum, only.join) = (None, None);
    responses.push(("a single plot", bare));
    let mut wild = figure(vec![panel(None, 40.3, 0.6, 120.0, 1)]);
    wild.panels[0].band =
        vec![BandPoint { rate: 0.0, low: -1e9, high: 1e9 }, BandPoint { rate: 150.0, low: -1e9, high: 1e9 }];
    wild.panels[0].means.push(MeanPoint { rate: 75.0, mean: 70.0, standard_error: None });
    responses.push(("wild band", wild));
    responses.push(("families", overlaid(1, 5)));
    responses.push(("families of eight", overlaid(8, 6)));
    responses.push(("twelve curves", overlaid(24, 11)));

    let mut calibrations: Vec<(String, _)> =
        [1, 2, 7, 12, 13, 60].into_iter().map(|count| (format!("{count} site-years"), calibration(count))).collect();
    let mut long = calibration(12);
    long.index_label = LONG.to_owned();
    long.need_unit = Some("kilograms of nitrogen a hectare, applied".to_owned());
    long.band_text = LONG.to_owned();
    long.relation_label = LONG.to_owned();
    for point in &mut long.points {
        point.site_year = format!("{} on the deep silt loam below the {LONG}", point.site_year);
        point.site_year.truncate(190);
    }
    calibrations.push(("long labels".to_owned(), long));
    let mut narrow = calibration(3);
    for point in &mut narrow.points {
        point.index = 0.9 + (point.index - 0.9) * 1e-4;
    }
    narrow.relation.clear();
    narrow.band.clear();
    narrow.domain = [0.899, 0.901];
    narrow.table_range = None;
    calibrations.push(("narrow indices".to_owned(), narrow));

    let mut of_residuals: Vec<(String, _)> =
        [1, 2, 24, 96, 400].into_iter().map(|count| (format!("{count} plots"), residuals(count))).collect();
    let mut long = residuals(48);
    long.yield_unit = Some("megagrams a hectare, at 13.5% moisture".to_owned());
    for point in &mut long.points {
        point.name = format!("{}, {LONG}", point.name);
        point.outlier = point.residual > 3.0;
    }
    of_residuals.push(("long names".to_owned(), long));
    for (name, factor) in [("tiny residuals", 1e-9), ("large residuals", 3.7e8)] {
        let mut scaled = residuals(24);
        scaled.points.iter_mut().for_each(|point| point.residual *= factor);
        scaled.normal_slope = Some(3.0 * factor);
        of_residuals.push((name.to_owned(), scaled));
    }

    let mut comparisons = vec![("plain", comparison())];
    let mut one = comparison();
    one.earlier = None;
    one.table.steps.truncate(1);
    comparisons.push(("one row", one));
    let mut long = comparison();
    long.table.label = LONG.to_owned();
    long.rate_unit = "kilograms of nitrogen a hectare, applied".to_owned();
    long.table.steps.iter_mut().for_each(|step| (step.low, step.high) = (None, Some(1e6)));
    comparisons.push(("long", long));

    let figures: Vec<(String, Figure)> = responses
        .into_iter()
        .map(|(name, input)| (name.to_owned(), Figure::Response(input)))
        .chain(named("calibration", calibrations, Figure::Calibration))
        .chain(named("comparison", comparisons, Figure::Rates))
        .chain(named("residuals", of_residuals, Figure::Residuals))
        .chain(named("net return", net_return_cases(), Figure::NetReturn))
        .chain(named("price", price_cases(), Figure::PriceResponse))
        .chain(named("means", means_cases(), Figure::Means))
        .chain(made_up::all())
        .collect();
    let one = |(style, (name, figure)): (&Style, &(String, Figure))| {
        let name = format!("{name}, {:?}, {} mm", style.colours, style.width.millimetres());
        let page = drawn(figure, style).unwrap_or_else(|error| panic!("{name}: {error}"));
        (name, page)
    };
    let plain = WIDTHS.map(|width| Style { width, dots_per_inch: 72, ..Style::default() });
    let grey = Style { colours: Colours::Grey, decimal_mark: DecimalMark::Comma, ..plain[0] };
    let styles: Vec<Style> = plain.into_iter().chain([grey]).collect();
    let all: Vec<_> = styles.iter().flat_map(|style| figures.iter().map(move |named| (style, named))).collect();
    all.into_par_iter().map(one).collect()
}

/// Figures of a kind, whose name goes before that of each.
fn named<T>(
    kind: &str,
    inputs: impl IntoIterator<Item = (impl std::fmt::Display, T)>,
    figure: fn(T) -> Figure,
) -> impl Iterator<Item = (String, Figure)> {
    inputs.into_iter().map(move |(name, input)| (format!("{kind}, {name}"), figure(input)))
}

#[test]
fn no_two_texts_overlap() {
    for (name, page) in pages() {
        for (i, a) in page.texts.iter().enumerate() {
            for b in page.texts.iter().skip(i + 1) {
                let apart = a.right <= b.left + ROUNDING
                    || b.right <= a.left + ROUNDING
                    || a.bottom <= b.top + ROUNDING
                    || b.bottom <= a.top + ROUNDING;
                assert!(apart, "{name}: “{}” and “{}” overlap: {a:?} {b:?}", a.content, b.content);
            }
        }
    }
}

#[test]
fn no_text_and_no_mark_leaves_the_frame() {
    for (name, page) in pages() {
        for text in &page.texts {
            let inside = text.left >= 0.0 && text.right <= page.width && text.top >= 0.0 && text.bottom <= page.height;
            assert!(inside, "{name}: “{}” is cut off: {text:?}", text.content);
        }
        let corners = page.polygons.iter().chain(&page.lines).flat_map(|(corners, _)| corners);
        for [x, y] in corners {
            let inside = (0.0..=page.width).contains(x) && (0.0..=page.height).contains(y);
            assert!(inside, "{name}: a mark at {x}, {y} is cut off");
        }
        for (x, y, radius, _) in &page.circles {
            let inside =
                x - radius >= 0.0 && x + radius <= page.width && y - radius >= 0.0 && y + radius <= page.height;
            assert!(inside, "{name}: a point at {x}, {y} is cut off");
        }
    }
}

#[test]
fn no_text_covers_a_point_or_a_line() {
    for (name, page) in pages() {
        for text in &page.texts {
            let covers = |x: f64, y: f64, reach: f64| {
                x + reach > text.left && x - reach < text.right && y + reach > text.top && y - reach < text.bottom
            };
            for (x, y, radius, _) in &page.circles {
                assert!(!covers(*x, *y, *radius), "{name}: “{}” covers a point", text.content);
            }
            for (corners, _) in page.lines.iter().chain(&page.polygons) {
                assert!(!corners.iter().any(|[x, y]| covers(*x, *y, 0.0)), "{name}: “{}” covers a line", text.content);
            }
        }
    }
}

/// Whether a straight line enters a box: what is left of it when each side has cut off what lies beyond (Liang and Barsky 1984).
fn enters([from, to]: [[f64; 2]; 2], [left, right, top, bottom]: [f64; 4]) -> bool {
    let (mut first, mut last) = (0.0_f64, 1.0_f64);
    for (axis, low, high) in [(0, left, right), (1, top, bottom)] {
        let step = to[axis] - from[axis];
        if step == 0.0 {
            if from[axis] <= low || from[axis] >= high {
                return false;
            }
            continue;
        }
        let ends = [(low - from[axis]) / step, (high - from[axis]) / step];
        first = first.max(ends[0].min(ends[1]));
        last = last.min(ends[0].max(ends[1]));
    }
    first < last
}

#[test]
fn no_line_runs_through_a_text() {
    for (name, page) in pages() {
        for text in &page.texts {
            let inside = [text.left + ROUNDING, text.right - ROUNDING, text.top + ROUNDING, text.bottom - ROUNDING];
            for (corners, _) in &page.lines {
                let crossed = corners.windows(2).find(|pair| enters([pair[0], pair[1]], inside));
                assert!(crossed.is_none(), "{name}: {crossed:?} runs through “{}”", text.content);
            }
        }
    }
}

#[test]
fn type_is_seven_points_or_larger() {
    for (name, page) in pages() {
        assert!(!page.texts.is_empty());
        for text in &page.texts {
            assert!(text.points > 6.99, "{name}: “{}” is set in {} pt", text.content, text.points);
        }
    }
}

#[test]
fn the_file_states_the_length_that_the_font_gives() {
    for (name, page) in pages() {
        for text in &page.texts {
            assert!(
                (text.stated - text.measured).abs() < ROUNDING,
                "{name}: “{}” states {} mm and measures {} mm",
                text.content,
                text.stated,
                text.measured
            );
        }
    }
}

#[test]
fn a_figure_has_the_width_it_was_asked_for() {
    for (name, page) in pages() {
        assert!(name.ends_with(&format!(", {} mm", page.width)), "{name}: {}", page.width);
        assert!(page.height > 30.0, "{name}");
    }
}
