//! What was given is what is drawn.

use super::demo::{calibration, figure, flat, many, panel, residuals};
use super::svg_reader::{Page, read, scales};
use crate::figures::{
    Censoring, Colours, CurveLine, DecimalMark, Figure, FigureError, Rendered, ResponsePanels, Style, Width, render,
};

const SMALL: Style = Style {
    width: Width::SingleColumn,
    dots_per_inch: 72,
    with_png: true,
    colours: Colours::Palette,
    decimal_mark: DecimalMark::Point,
    with_title: false,
};

/// Shapes are placed to half a unit of 0.005 mm, and two ticks give the scale.
const PLACEMENT: f64 = 0.02;
fn response(input: &ResponsePanels) -> (Rendered, Page) {
    let rendered = render(&Figure::Response(input.clone()), &SMALL).unwrap();
    let page = read(&rendered.svg);
    (rendered, page)
}

fn has_text(page: &Page, content: &str) -> bool {
    page.texts.iter().any(|text| text.content == content)
}

#[test]
fn every_plot_and_every_mean_stands_where_its_numbers_say() {
    let input = figure(vec![panel(None, 40.3, 0.6, 120.0, 1)]);
    let (_, page) = response(&input);
    let (across, up) = scales(&page);
    let stands = |rate: f64, value: f64, radius: f64| {
        page.circles.iter().any(|(x, y, r, _)| {
            (x - across(rate)).abs() < PLACEMENT && (y - up(value)).abs() < PLACEMENT && (r - radius).abs() < PLACEMENT
        })
    };
    let only = &input.panels[0];
    assert_eq!(only.plots.len(), 24);
    for [rate, value] in &only.plots {
        assert!(stands(*rate, *value, 0.62), "plot {rate}, {value}");
    }
    for mean in &only.means {
        assert!(stands(mean.rate, mean.mean, 0.85), "mean {mean:?}");
    }
}

#[test]
fn the_optimum_and_its_limits_stand_at_their_rates() {
    let input = figure(vec![panel(None, 40.3, 0.6, 120.0, 1)]);
    let (_, page) = response(&input);
    let (across, _) = scales(&page);
    let optimum = input.panels[0].optimum.as_ref().unwrap();
    let brick = "#B0451C";
    for rate in [optimum.rate, optimum.low, optimum.high] {
        let x = across(rate.unwrap());
        let found = page.lines.iter().any(|(corners, colour)| {
            colour == brick && corners.len() == 2 && corners.iter().all(|[at, _]| (at - x).abs() < PLACEMENT)
        });
        assert!(found, "no upright stroke at {rate:?}");
    }
    assert!(!page.polygons.iter().any(|(_, colour)| colour == brick), "a closed interval has no arrow");
    assert!(has_text(&page, &optimum.label));
}

#[test]
fn an_open_limit_or_one_past_the_tested_rates_is_an_arrow() {
    for high in [None, Some(171.0)] {
        let mut input = figure(vec![panel(None, 40.3, 0.6, 120.0, 1)]);
        if let Some(optimum) = &mut input.panels[0].optimum {
            optimum.high = high;
        }
        let (_, page) = response(&input);
        let (across, _) = scales(&page);
        let heads: Vec<_> = page.polygons.iter().filter(|(_, colour)| colour == "#B0451C").collect();
        assert_eq!(heads.len(), 1, "{high:?}");
        let tip = heads[0].0.iter().map(|[x, _]| *x).fold(0.0, f64::max);
        assert!(tip > across(150.0), "the arrow points past the highest tested rate");
    }
}

#[test]
fn a_response_that_was_not_shown_is_broken_and_says_so() {
    let longest = |input: &ResponsePanels| {
        let (_, page) = response(input);
        let stroke = |corners: &[[f64; 2]]| {
            corners.windows(2).map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1])).sum::<f64>()
        };
        let longest = page
            .lines
            .iter()
            .filter(|(_, colour)| colour == "#1B5878")
            .map(|(corners, _)| stroke(corners))
            .fold(0.0, f64::max);
        (longest, has_text(&page, "response not shown"))
    };
    let mut input = figure(vec![flat(None)]);
    let (broken, says) = longest(&input);
    assert!(says);
    assert!(broken < 3.0, "{broken}");
    input.panels[0].curve_line = CurveLine::Response;
    let (whole, says) = longest(&input);
    assert!(!says);
    assert!(whole > 60.0, "{whole}");
}

#[test]
fn axes_carry_units_only_where_they_are_known() {
    let mut input = figure(vec![panel(None, 40.3, 0.6, 120.0, 1)]);
    let (_, page) = response(&input);
    assert!(has_text(&page, "N rate (lb/ac)") && has_text(&page, "Yield (bu/ac)"));
    (input.rate_unit, input.yield_unit) = (None, None);
    let (_, page) = response(&input);
    assert!(has_text(&page, "N rate") && has_text(&page, "Yield"));
}

#[test]
fn panels_share_their_axes_and_label_them_once() {
    let (_, page) = response(&many(8));
    let titles = |content: &str| page.texts.iter().filter(|text| text.content == content).count();
    assert_eq!(titles("N rate (lb/ac)"), 1);
    assert_eq!(titles("Yield (bu/ac)"), 1);
    // Two columns in 85 mm: the highest rate is labelled at the foot of each.
    assert_eq!(titles("150"), 2);
}

#[test]
fn every_site_year_and_every_point_is_drawn() {
    let input = calibration(12);
    let rendered = render(&Figure::Calibration(input.clone()), &SMALL).unwrap();
    let page = read(&rendered.svg);
    let (across, up) = scales(&page);
    for point in &input.points {
        assert!(has_text(&page, &point.site_year));
        let (x, y) = (across(point.index), up(point.need));
        let circle = page.circles.iter().any(|(cx, cy, ..)| (cx - x).abs() < PLACEMENT && (cy - y).abs() < PLACEMENT);
        // Every other marker is symmetric from left to right about the point.
        let polygon = page.polygons.iter().any(|(corners, _)| {
            let extent = |axis: usize| {
                let values = || corners.iter().map(|corner| corner[axis]);
                [values().fold(f64::INFINITY, f64::min), values().fold(0.0, f64::max)]
            };
            let ([left, right], [top, bottom]) = (extent(0), extent(1));
            ((left + right) / 2.0 - x).abs() < PLACEMENT && top < y && y < bottom && right - left < 3.5
        });
        assert!(circle || polygon, "{point:?}");
    }
}

#[test]
fn a_censored_need_is_an_arrow_in_its_direction() {
    let mut input = calibration(1);
    input.points.truncate(1);
    let heads = |censored: Censoring| {
        let mut input = input.clone();
        input.points[0].censored = censored;
        (input.points[0].low, input.points[0].high) = (None, None);
        let page = read(&render(&Figure::Calibration(input.clone()), &SMALL).unwrap().svg);
        let (across, up) = scales(&page);
        let (x, y) = (across(input.points[0].index), up(input.points[0].need));
        page.polygons
            .iter()
            .filter(|(corners, _)| corners.len() == 3 && corners.iter().any(|[cx, _]| (cx - x).abs() < PLACEMENT))
            .map(|(corners, _)| corners[0][1] - y)
            .collect::<Vec<f64>>()
    };
    assert_eq!(heads(Censoring::None).len(), 0);
    let up = heads(Censoring::AtLeast);
    let down = heads(Censoring::AtMost);
    assert!(up.len() == 1 && up[0] < -2.0, "{up:?}");
    assert!(down.len() == 1 && down[0] > 2.0, "{down:?}");
}

#[test]
fn more_site_years_than_markers_are_counted_not_told_apart() {
    let page = read(&render(&Figure::Calibration(calibration(13)), &SMALL).unwrap().svg);
    assert!(has_text(&page, "13 site-years"));
    assert!(!has_text(&page, "Upper Terrace 2021"));
}

#[test]
fn the_png_has_the_size_and_resolution_asked_for() {
    for (width, dots_per_inch, pixels) in [
        (Width::SingleColumn, 300, 1004),
        (Width::DoubleColumn, 300, 2067),
        (Width::SingleColumn, 600, 2008),
        (Width::SingleColumn, 1000, 3346),
    ] {
        let style = Style { width, dots_per_inch, ..Style::default() };
        let rendered = render(&Figure::Response(many(1)), &style).unwrap();
        let page = read(&rendered.svg);
        let mut reader = png::Decoder::new(rendered.png.as_slice()).read_info().unwrap();
        let info = reader.info();
        let expected = page.height / 25.4 * f64::from(dots_per_inch);
        assert_eq!(info.width, pixels);
        // The file states the height to a hundredth of a millimetre.
        assert!((f64::from(info.height) - expected).abs() < 1.0, "{} {expected}", info.height);
        let density = info.pixel_dims.unwrap();
        assert_eq!(density.xppu, (f64::from(dots_per_inch) / 0.0254).round() as u32);
        let mut image = vec![0; reader.output_buffer_size()];
        reader.next_frame(&mut image).unwrap();
        let dark = image.chunks_exact(3).filter(|pixel| pixel.iter().all(|c| *c < 0x60)).count();
        let share = dark as f64 / (image.len() / 3) as f64;
        assert!((0.005..0.2).contains(&share), "{share} of the picture is ink");
    }
}

#[test]
fn the_same_description_gives_the_same_bytes() {
    assert_eq!(
        render(&Figure::Response(many(8)), &Style::default()),
        render(&Figure::Response(many(8)), &Style::default())
    );
    assert_eq!(
        render(&Figure::Calibration(calibration(12)), &Style::default()),
        render(&Figure::Calibration(calibration(12)), &Style::default())
    );
}

#[test]
fn the_caption_is_kept_and_markup_in_a_title_is_only_text() -> Result<(), FigureError> {
    let mut input = figure(vec![panel(Some("<script>alert(1)</script> & \"co\""), 40.0, 0.6, 120.0, 1)]);
    input.words.caption = "n < 24 & more\u{0}".to_owned();
    let rendered = render(&Figure::Response(input.clone()), &SMALL)?;
    assert_eq!(rendered.words.caption, input.words.caption);
    assert!(!rendered.svg.contains("<script"));
    assert!(rendered.svg.contains("n &lt; 24 &amp; more"));
    assert!(!rendered.svg.contains('\u{0}'));
    assert!(has_text(&read(&rendered.svg), "<script>alert(1)</script> & \"co\""));
    Ok(())
}

#[test]
fn every_residual_stands_in_each_of_the_three_panels() {
    let rendered = render(
        &Figure::Residuals(residuals(24)),
        &Style { width: Width::DoubleColumn, dots_per_inch: 72, ..Style::default() },
    )
    .unwrap();
    let page = read(&rendered.svg);
    // An open circle is two discs; a plot is in three panels, and once in the legend. The outlier is a diamond in all of them.
    assert_eq!(page.circles.len(), 2 * (3 * 23 + 1));
    let brick = page.polygons.iter().filter(|(corners, colour)| colour == "#B0451C" && corners.len() == 4);
    assert_eq!(brick.count(), 4);
    assert!(has_text(&page, "further out than chance: plot 103"));
    for title in ["Fitted yield (bu/ac)", "Plots in field order", "Normal score", "Residual (bu/ac)"] {
        assert!(has_text(&page, title), "{title}");
    }
}

/// A figure of each width, colours, decimal mark and title that can be asked for.
fn in_style(style: Style) -> Rendered {
    let mut input = figure(vec![panel(None, 0.403, 0.006, 120.0, 1)]);
    input.words.title = "Yield against N rate".to_owned();
    render(&Figure::Response(input), &style).unwrap()
}

#[test]
fn grey_leaves_no_hue_and_the_lightness_of_each_colour() {
    let grey = in_style(Style { colours: Colours::Grey, ..SMALL });
    let colours: Vec<&str> = grey.svg.split('#').skip(1).filter_map(|rest| rest.get(..6)).collect();
    let hues: Vec<&&str> =
        colours.iter().filter(|colour| colour[..2] != colour[2..4] || colour[..2] != colour[4..]).collect();
    // The ink of the letters alone.
    assert!(colours.len() > 50 && hues.iter().all(|colour| **colour == "22272B"), "{hues:?}");
    // sea, #1B5878, has a luminance of 0.0857 (IEC 61966-2-1, computed in Python), as has the grey #535353.
    assert!(colours.contains(&"535353"));
}

#[test]
fn a_comma_stands_in_the_labels_of_axes() {
    let page = read(&in_style(Style { decimal_mark: DecimalMark::Comma, ..SMALL }).svg);
    assert!(page.texts.iter().any(|text| text.content.starts_with("0,")));
    assert!(!page.texts.iter().any(|text| text.content.parse::<f64>().is_ok() && text.content.contains('.')));
}

#[test]
fn a_title_stands_above_everything_where_it_is_asked_for() {
    let (without, with) = (in_style(SMALL), in_style(Style { with_title: true, ..SMALL }));
    let title =
        |rendered: &Rendered| read(&rendered.svg).texts.into_iter().find(|text| text.content == "Yield against N rate");
    assert!(title(&without).is_none());
    let (page, title) = (read(&with.svg), title(&with).unwrap());
    assert!(page.texts.iter().all(|text| text.content == title.content || text.top > title.bottom));
    assert!(page.height > read(&without.svg).height + 2.0);
}

#[test]
fn a_slide_has_type_of_twice_the_size() {
    let page = read(&in_style(Style { width: Width::Slide, ..SMALL }).svg);
    assert!((page.width - 254.0).abs() < 0.01);
    assert!(page.texts.iter().all(|text| text.points >= 13.99), "no type under 14 pt");
}

#[test]
fn the_pdf_is_as_large_as_the_figure() {
    let rendered = in_style(Style { width: Width::Millimetres(101.6), ..SMALL });
    assert_eq!(rendered.width, 101.6);
    let head = String::from_utf8_lossy(&rendered.pdf);
    let media = head.split("/MediaBox").nth(1).and_then(|rest| rest.split(['[', ']']).nth(1)).unwrap().to_owned();
    let sides: Vec<f64> = media.split_whitespace().map(|side| side.parse().unwrap()).collect();
    // Four inches of 72 points.
    assert!((sides[2] - 288.0).abs() < 0.01, "{media}");
    assert!((sides[3] * 25.4 / 72.0 - read(&rendered.svg).height).abs() < 0.01, "{media}");
}
