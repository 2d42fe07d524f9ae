//! One panel: its header, its data, its curve, and the marked rates.

use super::layout::has_interval;
use super::{CurveLine, MarkedRate, ResponsePanel};
use crate::figures::axis::Scale;
use crate::figures::marker::{Form, Marker};
use crate::figures::panels::{self, Frame, HeaderLine};
use crate::figures::scene::{BOLD, BRICK, Colour, INK, MIST, PLUM, Place, SEA, STONE, Scene, THIN, at, thinned};
use crate::figures::stroke::Stroke;
use crate::figures::typeface::Typeface;

pub(super) const PLOT: Marker = Marker { form: Form::Circle, filled: false, size: 0.62, colour: STONE };
pub(super) const MEAN: Marker = Marker { form: Form::Circle, filled: true, size: 0.85, colour: INK };
/// Width of the optimum's interval bar, mm.
const OPTIMUM_BAR: f64 = 0.6;
/// Width of the join's interval bar, mm.
const JOIN_BAR: f64 = 0.28;
const NOT_SHOWN_DASH: [f64; 2] = [2.2, 1.2];
const DROP_DASH: [f64; 2] = [0.7, 0.6];
/// From the centre of a mark on the curve to its sides, mm: more than a mean's radius, so that a mean stays in view.
const OPTIMUM_HALF: f64 = 1.75;
const JOIN_HALF: f64 = 1.3;
/// The same in notes and legends.
const OPTIMUM_SMALL: f64 = 1.15;
const JOIN_SMALL: f64 = 0.9;
/// Width of the small drawing before a note, mm.
const NOTE_KEY: f64 = 4.0;
/// The same where patterns are to be told apart, mm.
const PATTERN_KEY: f64 = 7.6;

/// Where the curves of a figure are named.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Naming {
    /// In the legend: all panels have the same.
    Shared,
    /// Above each panel.
    Single,
    /// Above each panel, with the curves that lie over it.
    Overlaid,
}

/// Yields that must be inside the panel: plots, means with their bars, and the curve.
pub(super) fn core_yields(panel: &ResponsePanel) -> impl Iterator<Item = f64> + '_ {
    let others = panel.others.iter().flat_map(|other| &other.points);
    let points = panel.plots.iter().chain(&panel.curve).chain(others).map(|[_, y]| *y);
    let bars = panel.means.iter().flat_map(|mean| {
        let error = mean.standard_error.unwrap_or(0.0);
        [mean.mean - error, mean.mean + error]
    });
    points.chain(bars)
}

/// Free space above the rate axis that the marked rates of any panel need, mm.
pub(super) fn strip(panels: &[ResponsePanel]) -> f64 {
    let bars = [panels.iter().any(|panel| panel.optimum.is_some()), panels.iter().any(|panel| panel.join.is_some())];
    2.0 + 2.0 * bars.into_iter().filter(|present| *present).count() as f64
}

/// The title and notes of a panel, broken into lines. Where further curves lie over it the notes have room for a pattern.
pub(super) fn header(panel: &ResponsePanel, naming: Naming, width: f64, typeface: &Typeface) -> Vec<HeaderLine> {
    let key = if naming == Naming::Overlaid { PATTERN_KEY } else { NOTE_KEY };
    let mut lines = panels::title_lines(panel.title.as_deref().unwrap_or(""), width, typeface);
    if !panel.curve.is_empty() {
        match panel.curve_line {
            CurveLine::NotShown => {
                // Two short strokes: the curve's own pattern would show only one here.
                let broken = |scene: &mut Scene, middle: Place| {
                    for x in [middle.x - 1.6, middle.x + 0.3] {
                        scene.line(vec![at(x, middle.y), at(x + 1.3, middle.y)], BOLD, SEA);
                    }
                };
                lines.extend(panels::note_lines(broken, key, "response not shown", width, typeface));
            }
            CurveLine::Response if naming != Naming::Shared => {
                let half = key / 2.0 - 0.4;
                let whole = move |scene: &mut Scene, middle: Place| {
                    scene.line(vec![at(middle.x - half, middle.y), at(middle.x + half, middle.y)], BOLD, SEA);
                };
                lines.extend(panels::note_lines(whole, key, &panel.curve_label, width, typeface));
            }
            CurveLine::Response => {}
        }
    }
    for other in &panel.others {
        let stroke = Stroke::of(other.line);
        let sign = move |scene: &mut Scene, middle: Place| stroke.key(scene, middle, THIN, false);
        lines.extend(panels::note_lines(sign, key, &other.label, width, typeface));
    }
    if let Some(marked) = &panel.optimum {
        let sign = |scene: &mut Scene, middle| scene.outlines(&[optimum_mark(middle, OPTIMUM_SMALL)]);
        lines.extend(panels::note_lines(sign, key, &marked.label, width, typeface));
    }
    if let Some(marked) = &panel.join {
        let sign = |scene: &mut Scene, middle| scene.outlines(&[join_mark(middle, JOIN_SMALL)]);
        lines.extend(panels::note_lines(sign, key, &marked.label, width, typeface));
    }
    lines
}

/// Draws everything of a panel but its axes: what is less important first, so that no point is covered by a line.
pub(super) fn draw(scene: &mut Scene, panel: &ResponsePanel, frame: &Frame) {
    let place = |[rate, value]: [f64; 2]| at(frame.across.place(rate), frame.up.place(value));
    if panel.band.len() > 1 {
        let edge = |rate: f64, value: f64| at(frame.across.clamped(rate), frame.up.clamped(value));
        let upper = panel.band.iter().map(|point| edge(point.rate, point.high));
        let lower = panel.band.iter().rev().map(|point| edge(point.rate, point.low));
        let outline: Vec<Place> = upper.chain(lower).collect();
        scene.area(thinned(&outline), MIST);
    }
    for other in &panel.others {
        let curve: Vec<Place> = other.points.iter().map(|point| place(*point)).collect();
        Stroke::of(other.line).draw(scene, &curve, THIN);
    }
    let curve: Vec<Place> = panel.curve.iter().map(|point| place(*point)).collect();
    if curve.len() > 1 {
        curve_stroke(scene, &curve, panel.curve_line);
    }
    draw_marked(scene, panel, frame);
    for plot in &panel.plots {
        PLOT.draw(scene, place(*plot));
    }
    for mean in &panel.means {
        let centre = place([mean.rate, mean.mean]);
        if let Some(error) = mean.standard_error {
            let ends = [mean.mean - error, mean.mean + error].map(|end| frame.up.place(end));
            scene.bar_up(centre.x, ends, THIN, INK);
        }
        MEAN.draw(scene, centre);
    }
}

/// The optimum and the join: a mark on the curve, and the interval just above the rate axis.
fn draw_marked(scene: &mut Scene, panel: &ResponsePanel, frame: &Frame) {
    let floor = frame.up.from;
    let on_curve = |marked: Option<&MarkedRate>| {
        let rate = marked?.rate?;
        let value = height_on(&panel.curve, rate)?;
        Some(at(frame.across.place(rate), frame.up.place(value)))
    };
    let optimum = on_curve(panel.optimum.as_ref());
    if let Some(head) = optimum {
        scene.dashes(&[head, at(head.x, floor)], DROP_DASH, THIN, BRICK);
    }
    let marks: Vec<Mark> = optimum
        .map(|head| optimum_mark(head, OPTIMUM_HALF))
        .into_iter()
        .chain(on_curve(panel.join.as_ref()).map(|head| join_mark(head, JOIN_HALF)))
        .collect();
    scene.outlines(&marks);
    let bars = [(panel.optimum.as_ref(), OPTIMUM_BAR, BRICK), (panel.join.as_ref(), JOIN_BAR, PLUM)];
    let present = bars.into_iter().filter_map(|(marked, width, colour)| Some((marked?, width, colour)));
    for (level, (marked, width, colour)) in present.enumerate() {
        let y = floor - 1.8 - 2.0 * level as f64;
        if let Some(rate) = marked.rate {
            let x = frame.across.clamped(rate);
            scene.line(vec![at(x, y - 0.9), at(x, y + 0.9)], BOLD, colour);
        }
        interval(scene, marked, panel.tested, &frame.across, y, width, colour);
    }
}

/// The curve's yield at a rate, between its points; `None` outside them.
fn height_on(curve: &[[f64; 2]], rate: f64) -> Option<f64> {
    curve.iter().zip(curve.iter().skip(1)).find_map(|([from, low], [to, high])| {
        if !(*from..=*to).contains(&rate) {
            return None;
        }
        let share = if to > from { (rate - from) / (to - from) } else { 0.0 };
        Some(low + share * (high - low))
    })
}

/// The interval of a marked rate just above the rate axis: an upright end where it is closed, an arrow where it is
/// open or runs past the tested rates.
fn interval(
    scene: &mut Scene,
    marked: &MarkedRate,
    [lowest, highest]: [f64; 2],
    rates: &Scale,
    y: f64,
    width: f64,
    colour: Colour,
) {
    if !has_interval(marked) {
        return;
    }
    let closed_low = marked.low.filter(|low| *low >= lowest);
    let closed_high = marked.high.filter(|high| *high <= highest);
    // The arrow stands in the side space beyond the tested rates.
    let arrow = |end: f64, direction: f64| {
        let tip = rates.place(end) + 2.2 * direction;
        tip.max(rates.from + 0.3).min(rates.to - 0.3)
    };
    let from = closed_low.map_or_else(|| arrow(lowest, -1.0), |low| rates.clamped(low));
    let to = closed_high.map_or_else(|| arrow(highest, 1.0), |high| rates.clamped(high));
    for (end, closed, direction) in [(from, closed_low.is_some(), -1.0), (to, closed_high.is_some(), 1.0)] {
        if closed {
            scene.line(vec![at(end, y - 0.6), at(end, y + 0.6)], THIN, colour);
        } else {
            scene.arrow_head(at(end, y), (direction, 0.0), colour);
        }
    }
    let inner = |end: f64, closed: bool, direction: f64| if closed { end } else { end - direction };
    scene.line(
        vec![at(inner(from, closed_low.is_some(), -1.0), y), at(inner(to, closed_high.is_some(), 1.0), y)],
        width,
        colour,
    );
}

/// Corners and colour.
type Mark = ([Place; 4], Colour);

/// The optimum: an open diamond.
fn optimum_mark(Place { x, y }: Place, half: f64) -> Mark {
    ([at(x, y - half), at(x + half, y), at(x, y + half), at(x - half, y)], BRICK)
}

/// The join: an open square.
fn join_mark(Place { x, y }: Place, half: f64) -> Mark {
    ([at(x - half, y - half), at(x + half, y - half), at(x + half, y + half), at(x - half, y + half)], PLUM)
}

/// The optimum's mark in a legend, with an interval bar beside it if there is one in the figure.
pub(super) fn optimum_key(scene: &mut Scene, middle: Place, with_interval: bool) {
    scene.outlines(&[optimum_mark(at(middle.x - 1.8, middle.y), OPTIMUM_SMALL)]);
    if with_interval {
        interval_key(scene, middle, OPTIMUM_BAR, BRICK);
    }
}

/// As [`optimum_key`], of the join.
pub(super) fn join_key(scene: &mut Scene, middle: Place, with_interval: bool) {
    scene.outlines(&[join_mark(at(middle.x - 1.8, middle.y), JOIN_SMALL)]);
    if with_interval {
        interval_key(scene, middle, JOIN_BAR, PLUM);
    }
}

fn interval_key(scene: &mut Scene, Place { x, y }: Place, width: f64, colour: Colour) {
    let (from, to) = (x - 0.1, x + 3.3);
    scene.line(vec![at(from, y), at(to, y)], width, colour);
    for (place, half, width) in [(from, 0.6, THIN), (to, 0.6, THIN), ((from + to) / 2.0, 0.9, BOLD)] {
        scene.line(vec![at(place, y - half), at(place, y + half)], width, colour);
    }
}

/// A piece of curve for the legend.
pub(super) fn curve_key(scene: &mut Scene, middle: Place, kind: CurveLine) {
    let Place { x, y } = middle;
    curve_stroke(scene, &[at(x - 3.2, y), at(x + 3.2, y)], kind);
}

fn curve_stroke(scene: &mut Scene, places: &[Place], kind: CurveLine) {
    match kind {
        CurveLine::Response => scene.curve(places, BOLD, SEA),
        CurveLine::NotShown => scene.dashes(places, NOT_SHOWN_DASH, BOLD, SEA),
    }
}
