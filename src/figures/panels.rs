//! Panels side by side and below each other on shared axes.

use super::axis::{self, Scale, Tick};
use super::legend::{self, Entry};
use super::scene::{Anchor, Place, Scene, at};
use super::typeface::{LARGE, SMALL, Typeface, capital_height, line_height};

/// The most panels in one figure; more do not stay legible on a page.
pub(super) const MOST_PANELS: usize = 24;
/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Space between rows of panels, mm.
const ROW_GAP: f64 = 4.0;
/// Empty space inside each panel, at the side of the first and last number, as a share of the range.
const SIDE: f64 = 0.05;

/// Where a panel stands.
pub(super) struct Frame {
    pub across: Scale,
    /// From the panel's bottom to its top.
    pub up: Scale,
}

/// Draws a sign at its centre.
type Sign = Box<dyn Fn(&mut Scene, Place)>;

/// One line above a panel.
pub(super) struct HeaderLine {
    sign: Option<Sign>,
    words: String,
    points: f64,
    indent: f64,
}

/// What is drawn on shared axes.
pub(super) trait Panels {
    /// How many panels there are, at least one.
    fn count(&self) -> usize;
    /// What the axes count, with their units: across and up.
    fn axis_titles(&self) -> [String; 2];
    /// The numbers across that must be inside every panel.
    fn range_across(&self) -> [f64; 2];
    /// The scale up of panels `height` mm high, from the lowest number at `height` to the highest at 0.
    fn scale_up(&self, height: f64) -> Scale;
    /// Below this no tick is wanted.
    fn lowest_tick(&self) -> f64;
    /// The lines above a panel `width` mm wide.
    fn header(&self, panel: usize, width: f64, typeface: &Typeface) -> Vec<HeaderLine>;
    /// Draws everything of a panel but its axes and header.
    fn draw(&self, panel: usize, frame: &Frame, scene: &mut Scene);
    /// The legend.
    fn entries(&self, typeface: &Typeface) -> Vec<Entry>;
}

/// The title of a panel, broken into lines.
pub(super) fn title_lines(title: &str, width: f64, typeface: &Typeface) -> Vec<HeaderLine> {
    let line = |words: String| HeaderLine { sign: None, words, points: LARGE, indent: 0.0 };
    typeface.wrap(title, LARGE, width).into_iter().map(line).collect()
}

/// A note behind a sign that takes `indent` mm, broken into lines; none where there are no words.
pub(super) fn note_lines(
    sign: impl Fn(&mut Scene, Place) + 'static,
    indent: f64,
    words: &str,
    width: f64,
    typeface: &Typeface,
) -> Vec<HeaderLine> {
    let line = |words: String| HeaderLine { sign: None, words, points: SMALL, indent };
    let mut lines: Vec<HeaderLine> = typeface.wrap(words, SMALL, width - indent).into_iter().map(line).collect();
    if let Some(first) = lines.first_mut() {
        first.sign = Some(Box::new(sign));
    }
    lines
}

pub(super) fn header_height(lines: &[HeaderLine]) -> f64 {
    let lines_height: f64 = lines.iter().map(|line| line_height(line.points)).sum();
    if lines.is_empty() { 0.0 } else { lines_height + 0.6 }
}

pub(super) fn draw_header(scene: &mut Scene, lines: &[HeaderLine], x: f64, top: f64, typeface: &Typeface) {
    let mut top = top;
    for line in lines {
        let baseline = top + capital_height(line.points) + 0.3;
        if let Some(sign) = &line.sign {
            sign(scene, at(x + line.indent / 2.0 - 0.4, baseline - capital_height(line.points) / 2.0));
        }
        let length = typeface.length(&line.words, line.points);
        scene.text(&line.words, line.points, length, Anchor::Start, at(x + line.indent, baseline));
        top += line_height(line.points);
    }
}

pub(super) fn lay_out(panels: &impl Panels, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let count = panels.count();
    let columns = columns(count, width);
    let range = panels.range_across();

    // The labels of the upright axis decide where the panels begin, the panel's height decides which labels there are, and
    // the width decides the height: so the width is first taken without them.
    let height = panel_height(width / columns as f64 - 8.0);
    let up = panels.scale_up(height);
    let up_ticks = axis::ticks_up(&up, up.low.max(panels.lowest_tick()), typeface);
    let [title_across, title_up] = panels.axis_titles();
    let up_title = typeface.wrap(&title_up, LARGE, height);
    let left = EDGE
        + axis::width_of_title_up(up_title.len())
        + axis::longest_label(&up_ticks, typeface)
        + axis::LABEL_GAP
        + axis::TICK;
    let (panel_width, gap, across_ticks) = across(range, width - left - EDGE, columns, typeface);

    let mut top = EDGE;
    let grid_top = top;
    let mut grid_bottom = top;
    let mut first_row_top = None;
    let positions: Vec<usize> = (0..count).collect();
    let rows = positions.chunks(columns).count();
    for (row, members) in positions.chunks(columns).enumerate() {
        let headers: Vec<Vec<HeaderLine>> =
            members.iter().map(|member| panels.header(*member, panel_width, typeface)).collect();
        let header_height = headers.iter().map(|lines| header_height(lines)).fold(0.0, f64::max);
        let panel_top = top + header_height;
        first_row_top.get_or_insert(panel_top);
        let panel_bottom = panel_top + height;
        let below = count - (row * columns + members.len());
        for (column, (member, lines)) in members.iter().zip(&headers).enumerate() {
            let x = left + column as f64 * (panel_width + gap);
            let frame = Frame {
                across: Scale { from: x, to: x + panel_width, ..scale_across(range) },
                up: Scale { from: panel_bottom, to: panel_top, ..up },
            };
            draw_header(&mut scene, lines, x, top, typeface);
            panels.draw(*member, &frame, &mut scene);
            // A panel with none below it carries the labels of its column.
            let labelled = row + 1 == rows || below <= column;
            axis::draw_across(&mut scene, &frame.across, panel_bottom, &across_ticks, labelled, typeface);
            axis::draw_up(&mut scene, &frame.up, x, &up_ticks, column == 0, typeface);
        }
        grid_bottom = panel_bottom;
        top = panel_bottom + ROW_GAP;
    }
    axis::title_up(&mut scene, &up_title, EDGE, (first_row_top.unwrap_or(grid_top) + grid_bottom) / 2.0, typeface);
    let across_title = typeface.wrap(&title_across, LARGE, width - left - EDGE);
    let used = columns as f64 * (panel_width + gap) - gap;
    let bottom = axis::title_across(
        &mut scene,
        &across_title,
        left + used / 2.0,
        grid_bottom + axis::depth_below() + 1.6,
        typeface,
    );
    let bottom =
        legend::draw(&mut scene, &panels.entries(typeface), at(left, bottom + 2.2), width - left - EDGE, typeface);
    scene.height = bottom + EDGE / 2.0;
    scene
}

/// The scale of panels `height` mm high that hold the numbers from `bottom` to `top`, with so many mm free below and above them. Where the
/// lowest of the data comes near zero anyway, the axis begins there.
pub(super) fn scale_with_room([bottom, top]: [f64; 2], lowest: f64, height: f64, [below, above]: [f64; 2]) -> Scale {
    let per_mm = (top - bottom) / (height - below - above);
    let (mut low, high) = (bottom - below * per_mm, top + above * per_mm);
    if low > 0.0 && lowest < 0.25 * high {
        low = 0.0;
    }
    Scale { low, high, from: height, to: 0.0 }
}

/// Panels side by side that stay some 35 mm wide.
fn columns(count: usize, width: f64) -> usize {
    let most = ((width - 12.0) / 34.0).floor().max(1.0) as usize;
    let rows = count.div_ceil(most);
    count.div_ceil(rows.max(1)).max(1)
}

fn panel_height(width: f64) -> f64 {
    (0.72 * width).clamp(27.0, 80.0)
}

/// The scale across with its side spaces; places are filled in by the caller.
fn scale_across([low, high]: [f64; 2]) -> Scale {
    let side = SIDE * (high - low);
    Scale { low: low - side, high: high + side, from: 0.0, to: 1.0 }
}

/// Width of a panel, the gap between two, and the ticks that fit.
fn across(range: [f64; 2], room: f64, columns: usize, typeface: &Typeface) -> (f64, f64, Vec<Tick>) {
    // Labels at the ends of neighbouring axes must not meet.
    let gap = 4.0;
    let width = (room - (columns - 1) as f64 * gap) / columns as f64;
    let scale = Scale { to: width, ..scale_across(range) };
    let ticks = axis::ticks_across(&scale, range, typeface);
    let overhang = axis::overhang(&ticks, &scale, typeface);
    let lead = ticks.first().map_or(0.0, |tick| typeface.length(&tick.label, SMALL) / 2.0 - scale.place(tick.value));
    let gap = gap.max(overhang + lead.max(0.0) + 2.0);
    let room = room - overhang;
    let width = (room - (columns - 1) as f64 * gap) / columns as f64;
    (width, gap, ticks)
}
