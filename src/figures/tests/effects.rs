//! Net returns, optima against price, means and families: what was given is what is drawn.

use super::demo::overlaid;
use super::means::{amounts, interaction, means, names};
use super::prices::{net_returns, price_responses};
use super::svg_reader::{Page, read, scales};
use crate::figures::{Censoring, Colours, Figure, Levels, Style, Width, render};

/// Shapes are placed to half a unit of 0.005 mm, and two ticks give the scale.
const PLACEMENT: f64 = 0.03;
const SEA: &str = "#1B5878";
const BRICK: &str = "#B0451C";
const OCHRE: &str = "#936A0C";
const INK: &str = "#22272B";
const MIST: &str = "#CCDBE3";

fn drawn(figure: Figure, width: Width) -> Page {
    read(&render(&figure, &Style { width, dots_per_inch: 72, ..Style::default() }).unwrap().svg)
}

fn single(figure: Figure) -> Page {
    drawn(figure, Width::SingleColumn)
}

fn has_text(page: &Page, content: &str) -> bool {
    page.texts.iter().any(|text| text.content == content)
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < PLACEMENT
}

/// The middle of a shape.
fn middle(corners: &[[f64; 2]]) -> [f64; 2] {
    [0, 1].map(|axis| {
        let values = || corners.iter().map(|corner| corner[axis]);
        (values().fold(f64::INFINITY, f64::min) + values().fold(0.0, f64::max)) / 2.0
    })
}

#[test]
fn net_returns_pass_through_their_numbers_and_are_marked_at_their_best() {
    let input = net_returns(1, 3);
    let page = single(Figure::NetReturn(input.clone()));
    let (across, up) = scales(&page);
    let panel = &input.panels[0];
    // The first line is unbroken: its ends and its best are corners, a thinned line stays within a hundredth of a millimetre elsewhere.
    let first = page.lines.iter().find(|(corners, colour)| colour == SEA && corners.len() > 10).unwrap();
    for [rate, value] in [panel.lines[0].points[0], panel.lines[0].points[75]] {
        assert!(first.0.iter().any(|[x, y]| near(*x, across(rate)) && near(*y, up(value))), "{rate} {value}");
    }
    let best = |line: usize| panel.lines[line].best.map(|best| [across(best.rate), up(best.net_return)]).unwrap();
    let [x, y] = best(0);
    assert!(page.circles.iter().any(|(cx, cy, ..)| near(*cx, x) && near(*cy, y)));
    let [x, y] = best(1);
    let squares = page.polygons.iter().filter(|(corners, colour)| colour == BRICK && corners.len() == 4);
    assert!(squares.map(|(corners, _)| middle(corners)).any(|[cx, cy]| near(cx, x) && near(cy, y)));
    let near_optimum = panel.near_optimum.as_ref().unwrap();
    let ends = [across(near_optimum.low), across(near_optimum.high)];
    let bar = |corners: &[[f64; 2]]| ends.iter().all(|end| corners.iter().any(|[x, _]| near(*x, *end)));
    assert!(page.polygons.iter().any(|(corners, colour)| colour == OCHRE && bar(corners)));
    assert!(has_text(&page, "Net return (USD/ac)") && has_text(&page, "N rate (lb/ac)"));
    assert!(has_text(&page, "near-optimum 82 to 127 lb/ac"));
}

#[test]
fn a_best_rate_that_is_a_bound_has_an_arrow_to_its_side() {
    let mut input = net_returns(1, 1);
    let heads = |bound: Censoring, input: &mut crate::figures::NetReturnFigure| {
        input.panels[0].lines[0].best.as_mut().unwrap().bound = bound;
        let page = single(Figure::NetReturn(input.clone()));
        let (across, _) = scales(&page);
        let x = across(input.panels[0].lines[0].best.unwrap().rate);
        let of_line = page.polygons.iter().filter(|(corners, colour)| colour == SEA && corners.len() == 3);
        of_line.map(|(corners, _)| corners[0][0] - x).collect::<Vec<f64>>()
    };
    assert_eq!(heads(Censoring::None, &mut input), Vec::<f64>::new());
    assert!(matches!(heads(Censoring::AtLeast, &mut input)[..], [right] if right > 2.0));
    assert!(matches!(heads(Censoring::AtMost, &mut input)[..], [left] if left < -2.0));
}

#[test]
fn a_group_without_a_response_says_so_and_has_no_line() {
    let mut input = net_returns(4, 2);
    input.panels.rotate_left(3);
    input.panels.truncate(2);
    let page = drawn(Figure::NetReturn(input), Width::DoubleColumn);
    assert!(has_text(&page, "response not shown"));
    // One panel of two has the unbroken line; the other stroke as long is in no panel.
    let long = page.lines.iter().filter(|(corners, colour)| colour == SEA && corners.len() > 10).count();
    assert_eq!(long, 1);
}

#[test]
fn lines_are_told_apart_by_pattern_without_colour() {
    let input = net_returns(1, 6);
    let style = Style { dots_per_inch: 72, colours: Colours::Grey, ..Style::default() };
    let page = read(&render(&Figure::NetReturn(input), &style).unwrap().svg);
    let mut colours: Vec<&str> = page.lines.iter().map(|(_, colour)| colour.as_str()).collect();
    colours.sort_unstable();
    colours.dedup();
    // The lengths of the strokes of each line differ, whatever its grey.
    let mut strokes: Vec<i64> = Vec::new();
    for colour in colours {
        let of = page.lines.iter().filter(|(_, own)| own == colour);
        let length = |corners: &[[f64; 2]]| {
            corners.windows(2).map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1])).sum::<f64>()
        };
        strokes.push(of.map(|(corners, _)| (10.0 * length(corners)).round() as i64).max().unwrap_or(0));
    }
    strokes.sort_unstable();
    assert!(strokes.iter().any(|length| *length > 300) && strokes.iter().any(|length| *length < 10), "{strokes:?}");
}

#[test]
fn optima_their_bands_and_their_marks_stand_at_their_price_ratios() {
    let input = price_responses(1);
    let page = single(Figure::PriceResponse(input.clone()));
    let (across, up) = scales(&page);
    let panel = &input.panels[0];
    let base = panel.marks.iter().find(|mark| mark.base).unwrap();
    let diamonds = page.polygons.iter().filter(|(corners, colour)| colour == BRICK && corners.len() == 4);
    let at_base = |[x, y]: [f64; 2]| near(x, across(base.ratio)) && near(y, up(base.rate));
    assert!(diamonds.map(|(corners, _)| middle(corners)).any(at_base));
    for mark in panel.marks.iter().filter(|mark| !mark.base) {
        let here = |(x, y, ..): &(f64, f64, f64, String)| near(*x, across(mark.ratio)) && near(*y, up(mark.rate));
        assert!(page.circles.iter().any(here), "{mark:?}");
    }
    let (band, _) = page.polygons.iter().find(|(corners, colour)| colour == MIST && corners.len() > 6).unwrap();
    for point in [panel.bands[0][0], panel.bands[0][40]] {
        for limit in [point.low, point.high] {
            assert!(
                band.iter().any(|[x, y]| near(*x, across(point.ratio)) && near(*y, up(limit))),
                "{point:?} {limit}"
            );
        }
    }
    // Zero is on both axes.
    assert!(
        across(0.0) > 0.0
            && page.texts.iter().filter(|text| text.content == "0" || text.content == "0.00").count() >= 2
    );
    assert!(has_text(&page, "Price ratio (bu per lb N)") && has_text(&page, "EONR (lb/ac)"));
}

#[test]
fn an_optimum_that_is_a_bound_is_broken_with_arrows_to_its_side() {
    for (panel, down) in [(0, -1.0), (2, 1.0)] {
        let mut input = price_responses(3);
        input.panels = vec![input.panels[panel].clone()];
        let page = single(Figure::PriceResponse(input));
        // The legend's arrow stands lowest; those of the panel point the same way.
        let heads: Vec<_> =
            page.polygons.iter().filter(|(corners, colour)| colour == SEA && corners.len() == 3).collect();
        assert!(heads.len() >= 2, "{panel}");
        for (corners, _) in heads {
            assert!((corners[0][1] - corners[1][1]) * down > 0.0, "{panel} {corners:?}");
        }
    }
    let mut number = price_responses(2);
    number.panels.remove(0);
    let page = single(Figure::PriceResponse(number));
    assert!(!page.polygons.iter().any(|(corners, colour)| colour == SEA && corners.len() == 3));
}

#[test]
fn every_mean_its_error_and_its_letters_stand_at_its_level() {
    let input = means(vec![amounts(5)]);
    let page = single(Figure::Means(input.clone()));
    let (across, up) = scales(&page);
    let panel = &input.panels[0];
    let Levels::Amounts(rates) = &panel.levels else { panic!("amounts") };
    for mean in &panel.series[0].means {
        let (x, y) = (across(rates[mean.level]), up(mean.mean));
        assert!(page.circles.iter().any(|(cx, cy, ..)| near(*cx, x) && near(*cy, y)), "{mean:?}");
        let error = mean.standard_error.unwrap();
        let ends = [up(mean.mean - error), up(mean.mean + error)];
        let bar = |corners: &[[f64; 2]]| {
            corners.len() == 2 && corners.iter().zip(ends).all(|([cx, cy], end)| near(*cx, x) && near(*cy, end))
        };
        assert!(page.lines.iter().any(|(corners, colour)| colour == INK && bar(corners)), "{mean:?}");
        let lettered = |text: &&super::svg_reader::TextBox| text.content == mean.letters && near(text.x, x);
        let text = page.texts.iter().find(lettered).unwrap();
        assert!(text.bottom <= ends[1], "letters stand above the bar: {mean:?}");
    }
    // Both differences are as long as their numbers, to the scale of the yields.
    for bar in &panel.bars {
        let length = (up(0.0) - up(bar.length)).abs();
        let found = page.lines.iter().any(|(corners, _)| {
            corners.len() == 2
                && near(corners[0][0], corners[1][0])
                && near((corners[0][1] - corners[1][1]).abs(), length)
        });
        assert!(found, "{bar:?}");
        assert!(has_text(&page, &bar.label));
    }
}

#[test]
fn the_lines_of_an_interaction_join_their_means() {
    let input = means(vec![interaction(3)]);
    let page = single(Figure::Means(input.clone()));
    let (across, up) = scales(&page);
    let panel = &input.panels[0];
    // The longest stroke of the first line's colour: that of its key is shorter.
    let length = |corners: &[[f64; 2]]| (corners[corners.len() - 1][0] - corners[0][0]).abs();
    let of_first = page.lines.iter().filter(|(corners, colour)| colour == SEA && corners.len() >= 2);
    let (corners, _) = of_first.max_by(|a, b| length(&a.0).total_cmp(&length(&b.0))).unwrap();
    let series = &panel.series[0];
    for mean in [&series.means[0], &series.means[4]] {
        let place = [across(30.0 * mean.level as f64), up(mean.mean)];
        assert!(corners.iter().any(|[x, y]| near(*x, place[0]) && near(*y, place[1])), "{mean:?}");
    }
    for series in &panel.series {
        assert!(has_text(&page, &series.label));
    }
}

#[test]
fn names_stand_below_their_means_and_are_numbered_where_they_do_not_fit() {
    let page = single(Figure::Means(means(vec![names(3)])));
    assert!(["Pale Heron", "Dark Sedge", "Marsh Tern"].iter().all(|name| has_text(&page, name)));
    let page = single(Figure::Means(means(vec![names(12)])));
    assert!(has_text(&page, "12 Dark Sedge 11") && has_text(&page, "12"));
}

#[test]
fn families_are_named_above_their_panel_with_their_patterns() {
    let page = drawn(Figure::Response(overlaid(2, 5)), Width::DoubleColumn);
    for line in 0..5 {
        let label = format!("linear-plateau, ΔAICc {line}.3");
        assert_eq!(page.texts.iter().filter(|text| text.content == label).count(), 2, "{label}");
    }
    assert_eq!(page.texts.iter().filter(|text| text.content == "quadratic-plateau").count(), 2);
    assert!(has_text(&page, "curve of the optimum"));
}

#[test]
fn the_same_effects_give_the_same_bytes() {
    for figure in [
        Figure::NetReturn(net_returns(4, 3)),
        Figure::PriceResponse(price_responses(4)),
        Figure::Means(means(vec![names(3), amounts(5), interaction(4)])),
        Figure::Response(overlaid(3, 5)),
    ] {
        let style = Style { dots_per_inch: 72, ..Style::default() };
        assert_eq!(render(&figure, &style), render(&figure, &style));
    }
}
