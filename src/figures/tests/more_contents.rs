//! What was given is what is drawn: maps, readings, agreements, forgone returns, rates, the critical index.

use super::made_up::{agreement, forgone, map, rates, readings, with_critical_index};
use super::svg_reader::{Page, TextBox, drawn};
use crate::figures::{Censoring, Figure, Style, Width};

/// Shapes are placed to half a unit of 0.005 mm, and two ticks give the scale.
const PLACEMENT: f64 = 0.03;
/// From a label's baseline up to its tick: half the height of capitals, 0.7275 em (OS/2 table) at 7 pt.
const HALF_CAPITAL: f64 = 0.7275 * 7.0 * 25.4 / 72.0 / 2.0;
const SEA: &str = "#1B5878";
const BRICK: &str = "#B0451C";
const INK: &str = "#22272B";

fn page(figure: Figure) -> Page {
    let style = Style { width: Width::DoubleColumn, dots_per_inch: 72, ..Style::default() };
    drawn(&figure, &style).unwrap()
}

fn text<'p>(page: &'p Page, content: &str) -> &'p TextBox {
    page.texts.iter().find(|text| text.content == content).unwrap_or_else(|| panic!("no text {content:?}"))
}

fn number(text: &TextBox) -> Option<f64> {
    text.content.replace('\u{2212}', "-").parse().ok()
}

/// Places of numbers along an axis, from its labels.
fn scale(mut labels: Vec<(f64, f64)>) -> impl Fn(f64) -> f64 {
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (labels[0], labels[labels.len() - 1]);
    assert!(last.0 > first.0, "two ticks at least: {labels:?}");
    move |value| first.1 + (value - first.0) / (last.0 - first.0) * (last.1 - first.1)
}

/// The labels of the level and of the upright axis of a page with one panel, with their places: the lowest line of numbers, and the
/// numbers that end furthest left.
fn labels(page: &Page) -> [Vec<(f64, f64)>; 2] {
    let numbers: Vec<(f64, &TextBox)> = page.texts.iter().filter_map(|text| Some((number(text)?, text))).collect();
    let floor = numbers.iter().map(|(_, text)| text.y).fold(0.0, f64::max);
    let left = numbers.iter().map(|(_, text)| text.x).fold(f64::INFINITY, f64::min);
    let across = numbers.iter().filter(|(_, text)| (text.y - floor).abs() < 1e-9);
    let up = numbers.iter().filter(|(_, text)| (text.x - left).abs() < 1e-9);
    [
        across.map(|(value, text)| (*value, text.x)).collect(),
        up.map(|(value, text)| (*value, text.y - HALF_CAPITAL)).collect(),
    ]
}

fn scales(page: &Page) -> (impl Fn(f64) -> f64, impl Fn(f64) -> f64) {
    let [across, up] = labels(page);
    (scale(across), scale(up))
}

fn extent(corners: &[[f64; 2]], axis: usize) -> [f64; 2] {
    let values = || corners.iter().map(|corner| corner[axis]);
    [values().fold(f64::INFINITY, f64::min), values().fold(0.0, f64::max)]
}

/// Whether a marker of any shape stands at a place: every one is symmetric from left to right.
fn marked(page: &Page, x: f64, y: f64) -> bool {
    let circle = page.circles.iter().any(|(cx, cy, ..)| (cx - x).abs() < PLACEMENT && (cy - y).abs() < PLACEMENT);
    let polygon = page.polygons.iter().any(|(corners, _)| {
        let ([left, right], [top, bottom]) = (extent(corners, 0), extent(corners, 1));
        ((left + right) / 2.0 - x).abs() < PLACEMENT
            && top < y
            && y < bottom
            && right - left < 3.5
            && bottom - top < 3.5
    });
    circle || polygon
}

#[test]
fn every_plot_of_a_map_has_its_name_and_number_in_one_cell_at_its_row_and_column() {
    let input = map(4, 7, true);
    let page = page(Figure::Map(input.clone()));
    // Cells are the only rectangles wider than a mark and higher than the steps of the key.
    let cells: Vec<&Vec<[f64; 2]>> = page
        .polygons
        .iter()
        .map(|(corners, _)| corners)
        .filter(|corners| {
            let ([left, right], [top, bottom]) = (extent(corners, 0), extent(corners, 1));
            corners.len() == 4 && right - left > 3.5 && bottom - top > 3.5
        })
        .collect();
    assert_eq!(cells.len(), input.plots.len());
    let (first, width, height) = (cells[0], extent(cells[0], 0), extent(cells[0], 1));
    let (width, height) = (width[1] - width[0], height[1] - height[0]);
    for (plot, cell) in input.plots.iter().zip(&cells) {
        let ([left, right], [top, bottom]) = (extent(cell, 0), extent(cell, 1));
        assert!((left - extent(first, 0)[0] - f64::from(plot.column - 1) * width).abs() < PLACEMENT);
        assert!((top - extent(first, 1)[0] - f64::from(plot.row - 1) * height).abs() < PLACEMENT);
        let inside: Vec<&str> = page
            .texts
            .iter()
            .filter(|text| text.left >= left && text.right <= right && text.top >= top && text.bottom <= bottom)
            .map(|text| text.content.as_str())
            .collect();
        let sign = |value: f64| {
            if value > 0.0 {
                "+"
            } else if value < 0.0 {
                "\u{2212}"
            } else {
                ""
            }
        };
        let shown = plot.value.map(|value| format!("{}{:.1}", sign(value), value.abs()));
        let expected: Vec<&str> = [plot.name.as_str()].into_iter().chain(shown.as_deref()).collect();
        assert_eq!(inside, expected);
        // What has no value is crossed out: a stroke from corner to corner.
        let crossed = page.lines.iter().any(|(corners, _)| {
            let ([a, b], [c, d]) = (extent(corners, 0), extent(corners, 1));
            corners.len() == 2
                && (a - left).abs() < PLACEMENT
                && (b - right).abs() < PLACEMENT
                && c > top
                && (d - bottom).abs() < PLACEMENT
                && d - c > 1.0
        });
        assert_eq!(crossed, plot.value.is_none(), "{plot:?}");
        // The sign is a triangle too: upward above zero, downward (a rim and its paper) below.
        let triangles = page.polygons.iter().filter(|(corners, _)| {
            let ([a, b], [c, d]) = (extent(corners, 0), extent(corners, 1));
            corners.len() == 3 && a > left && b < right && c > top && d < bottom
        });
        let expected = plot.value.map_or(0, |value| if value > 0.0 { 1 } else { 2 });
        assert_eq!(triangles.count(), expected, "{plot:?}");
    }
    assert_eq!(text(&page, "Yield (bu/ac)").points.round() as i32, 8);
}

#[test]
fn blocks_are_parted_by_heavy_lines_and_plots_by_hairlines() {
    let input = map(4, 3, false);
    let page = page(Figure::Map(input));
    let [cell_left, cell_right] = {
        let (corners, _) =
            page.polygons.iter().find(|(corners, _)| extent(corners, 1)[1] - extent(corners, 1)[0] > 3.5).unwrap();
        extent(corners, 0)
    };
    let heavy = page.lines.iter().filter(|(corners, colour)| {
        let length = (corners[0][0] - corners[1][0]).abs();
        colour == INK
            && corners.len() == 2
            && corners[0][1] == corners[1][1]
            && (length - cell_right + cell_left).abs() < PLACEMENT
    });
    // Two blocks of two rows and three columns: each has three plots above and three below its edge.
    assert_eq!(heavy.count(), 12);
}

#[test]
fn a_map_too_fine_for_its_numbers_prints_none_and_still_tells_the_sign() {
    let page = page(Figure::Map(map(20, 100, true)));
    assert!(!page.texts.iter().any(|text| text.content.starts_with('+')));
    let triangles = page.polygons.iter().filter(|(corners, _)| corners.len() == 3).count();
    assert!(triangles > 1500, "{triangles}");
}

#[test]
fn every_mean_stands_at_its_rate_and_reading_with_its_deviation() {
    let input = readings(1, 1);
    let page = page(Figure::Readings(input.clone()));
    let (across, up) = scales(&page);
    for mean in &input.panels[0].means {
        let (x, y) = (across(mean.n_on), up(mean.mean));
        assert!(marked(&page, x, y), "{mean:?}");
        let bar = page.lines.iter().any(|(corners, colour)| {
            let [top, bottom] = extent(corners, 1);
            let spread = mean.deviation.unwrap_or(f64::NAN);
            colour == SEA
                && corners.iter().all(|[at, _]| (at - x).abs() < PLACEMENT)
                && (top - up(mean.mean + spread)).abs() < PLACEMENT
                && (bottom - up(mean.mean - spread)).abs() < PLACEMENT
        });
        assert_eq!(bar, mean.deviation.is_some(), "{mean:?}");
    }
    let level = up(46.0);
    let dashes = page.lines.iter().filter(|(corners, colour)| {
        colour == SEA && corners.len() == 2 && corners.iter().all(|[_, y]| (y - level).abs() < PLACEMENT)
    });
    assert!(dashes.count() > 20, "the reference's mean is a broken line");
}

#[test]
fn varieties_stand_beside_each_other_and_single_plots_at_their_values() {
    let page = page(Figure::Readings(readings(2, 2)));
    for name in ["Variety 0", "Variety 1", "one plot", "pooled over the plots", "open: N-rich reference"] {
        text(&page, name);
    }
    // 2 varieties × 7 rates × 4 plots, an open circle or square each; squares are polygons.
    let small = page.circles.iter().filter(|(_, _, radius, _)| (radius - 0.55).abs() < 0.01).count();
    assert_eq!(small, 7 * 4 + 1, "the circles of the first variety, and one in the legend");
}

#[test]
fn points_of_agreement_stand_at_both_numbers_on_equal_axes_and_bounds_are_arrows() {
    let input = agreement(9);
    let page = page(Figure::Agreement(input.clone()));
    let (across, up) = scales(&page);
    let per_unit = [across(1.0) - across(0.0), up(0.0) - up(1.0)];
    assert!((per_unit[0] - per_unit[1]).abs() < 1e-3 * per_unit[0], "agreement lies at 45°: {per_unit:?}");
    for point in &input.points {
        let (x, y) = (across(point.across), up(point.up));
        assert!(marked(&page, x, y), "{point:?}");
        // An arrow head is a triangle with its tip level with the point, left or right of it.
        let tips: Vec<f64> = page
            .polygons
            .iter()
            .filter(|(corners, _)| corners.len() == 3 && (corners[0][1] - y).abs() < PLACEMENT)
            .map(|(corners, _)| corners[0][0] - x)
            .filter(|way| way.abs() > 1.5 && way.abs() < 4.0)
            .collect();
        match point.censored {
            Censoring::None => assert_eq!(tips.len(), 0, "{point:?}"),
            Censoring::AtMost => assert!(tips.len() == 1 && tips[0] < 0.0, "{point:?} {tips:?}"),
            Censoring::AtLeast => assert!(tips.len() == 1 && tips[0] > 0.0, "{point:?} {tips:?}"),
        }
    }
    let line = page.lines.iter().any(|(corners, colour)| {
        let ([left, right], [top, bottom]) = (extent(corners, 0), extent(corners, 1));
        colour == SEA && right - left > 40.0 && ((right - left) - (bottom - top)).abs() < PLACEMENT
    });
    assert!(line, "the line on which both agree");
}

#[test]
fn what_each_rule_forgoes_stands_in_the_row_of_its_site_year() {
    let input = forgone(9);
    let page = page(Figure::Forgone(input.clone()));
    let across = scale(labels(&page)[0].clone());
    for row in input.rows.iter().chain(&input.mean) {
        let name = text(&page, &row.name);
        let middle = name.y - HALF_CAPITAL;
        for (rule, forgone) in row.forgone.iter().enumerate() {
            let y = middle + (rule as f64 - 2.0) * 2.05;
            match forgone {
                Some(forgone) => assert!(marked(&page, across(*forgone), y), "{} {rule}", row.name),
                None => assert!(!page.polygons.iter().any(|(corners, _)| {
                    let [top, bottom] = extent(corners, 1);
                    ((top + bottom) / 2.0 - y).abs() < 0.3 && bottom - top < 3.0 && extent(corners, 0)[0] > across(0.0)
                })),
            }
        }
    }
    let bounded = input.rows.iter().chain(&input.mean).filter(|row| row.is_lower_bound);
    let arrows = bounded.map(|row| row.forgone.iter().flatten().count()).sum::<usize>() + 1;
    let heads = page
        .polygons
        .iter()
        .filter(|(corners, _)| corners.len() == 3 && corners[0][0] > corners[1][0] && corners[1][0] == corners[2][0]);
    assert_eq!(heads.count(), arrows, "one each bound, and one in the legend");
}

#[test]
fn a_row_of_a_table_has_its_rate_interval_range_and_support() {
    let input = rates(6);
    let page = page(Figure::Rates(input.clone()));
    let (across, up) = scales(&page);
    let stairs = page.lines.iter().find(|(corners, colour)| colour == SEA && corners.len() == 12).unwrap();
    for (position, step) in input.table.steps.iter().enumerate() {
        for (corner, index) in [(2 * position, step.from), (2 * position + 1, step.below)] {
            let [x, y] = stairs.0[corner];
            assert!((x - across(index)).abs() < PLACEMENT && (y - up(step.rate)).abs() < PLACEMENT, "{step:?}");
        }
        let middle = across((step.from + step.below) / 2.0);
        for (limit, colour) in [(step.low, SEA), (step.high, SEA)] {
            let Some(limit) = limit else { continue };
            let cap = page.lines.iter().any(|(corners, own)| {
                let [a, b] = extent(corners, 0);
                own == colour
                    && ((a + b) / 2.0 - middle).abs() < PLACEMENT
                    && b - a < 2.0
                    && corners.iter().all(|[_, y]| (y - up(limit)).abs() < PLACEMENT)
            });
            assert!(cap, "{step:?}");
        }
        let [low, high] = step.new_site_years.unwrap();
        let boxed = page.polygons.iter().any(|(corners, _)| {
            let ([a, b], [top, bottom]) = (extent(corners, 0), extent(corners, 1));
            ((a + b) / 2.0 - middle).abs() < PLACEMENT
                && (top - up(high)).abs() < PLACEMENT
                && (bottom - up(low)).abs() < PLACEMENT
        });
        assert!(boxed, "{step:?}");
        for number in step.support.unwrap() {
            let printed =
                page.texts.iter().any(|text| text.content == number.to_string() && (text.x - middle).abs() < PLACEMENT);
            assert!(printed, "{number} above {step:?}");
        }
    }
}

#[test]
fn the_critical_index_is_a_broken_upright_line_with_its_interval_and_name() {
    let page = page(Figure::Calibration(with_critical_index(9, Some(0.90))));
    let across = scale(labels(&page)[0].clone());
    let upright = |x: f64| {
        let strokes = page
            .lines
            .iter()
            .filter(|(corners, colour)| colour == BRICK && corners.iter().all(|[at, _]| (at - x).abs() < PLACEMENT));
        strokes.count()
    };
    assert!(upright(across(0.93)) > 10, "dashes from foot to head");
    assert_eq!([upright(across(0.90)), upright(across(0.97))], [1, 1], "a cap at each limit");
    let label = page.texts.iter().position(|text| text.content.starts_with("critical index 0.93"));
    assert!(label.is_some(), "its name in the legend");
}
