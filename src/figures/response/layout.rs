//! Panels of responses laid out on shared axes.

use super::panel::{self, Frame};
use super::{CurveLine, MarkedRate, ResponsePanel, ResponsePanels};
use crate::figures::axis::{self, Scale, Tick};
use crate::figures::legend::{self, Entry};
use crate::figures::scene::{INK, MIST, Scene, THIN, at};
use crate::figures::typeface::{LARGE, SMALL, Typeface};

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Space between rows of panels, mm.
const ROW_GAP: f64 = 4.0;
/// Empty space inside each panel, at the side of the first and last rate, as a share of the range.
const SIDE: f64 = 0.05;

pub(in crate::figures) fn lay_out(figure: &ResponsePanels, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let columns = columns(figure.panels.len(), width);
    let rates = rate_range(&figure.panels);
    let strip = panel::strip(&figure.panels);

    // The yield labels decide where the panels begin, the panel's height decides which labels there are, and the width
    // decides the height: so the width is first taken without them.
    let height = panel_height(width / columns as f64 - 8.0);
    let yields = yield_scale(&figure.panels, height, strip);
    let lowest_tick = figure.panels.iter().flat_map(panel::core_yields).fold(0.0, f64::min);
    let yield_ticks = axis::ticks_up(&yields, yields.low.max(lowest_tick), typeface);
    let yield_title = typeface.wrap(&axis::with_unit("Yield", figure.yield_unit.as_deref()), LARGE, height);
    let left = EDGE
        + axis::width_of_title_up(yield_title.len())
        + axis::longest_label(&yield_ticks, typeface)
        + axis::LABEL_GAP
        + axis::TICK;
    let (panel_width, gap, rate_ticks) = across(rates, width - left - EDGE, columns, typeface);

    let mut top = EDGE;
    let grid_top = top;
    let mut grid_bottom = top;
    let mut first_row_top = None;
    let rows = figure.panels.chunks(columns).count();
    for (row, members) in figure.panels.chunks(columns).enumerate() {
        let headers: Vec<Vec<panel::HeaderLine>> = members
            .iter()
            .map(|member| panel::header(member, shared_curve_label(figure).is_none(), panel_width, typeface))
            .collect();
        let header_height = headers.iter().map(|lines| panel::header_height(lines)).fold(0.0, f64::max);
        let panel_top = top + header_height;
        first_row_top.get_or_insert(panel_top);
        let panel_bottom = panel_top + height;
        let below = figure.panels.len() - (row * columns + members.len());
        for (column, (member, lines)) in members.iter().zip(&headers).enumerate() {
            let x = left + column as f64 * (panel_width + gap);
            let frame = Frame {
                rates: Scale { from: x, to: x + panel_width, ..rate_scale(rates) },
                yields: Scale { from: panel_bottom, to: panel_top, ..yields },
            };
            panel::draw_header(&mut scene, lines, x, top, typeface);
            panel::draw(&mut scene, member, &frame);
            // A panel with none below it carries the labels of its column.
            let labelled = row + 1 == rows || below <= column;
            axis::draw_across(&mut scene, &frame.rates, panel_bottom, &rate_ticks, labelled, typeface);
            axis::draw_up(&mut scene, &frame.yields, x, &yield_ticks, column == 0, typeface);
        }
        grid_bottom = panel_bottom;
        top = panel_bottom + ROW_GAP;
    }
    axis::title_up(&mut scene, &yield_title, EDGE, (first_row_top.unwrap_or(grid_top) + grid_bottom) / 2.0, typeface);
    let rate_title =
        typeface.wrap(&axis::with_unit(&figure.rate_name, figure.rate_unit.as_deref()), LARGE, width - left - EDGE);
    let used = columns as f64 * (panel_width + gap) - gap;
    let bottom = axis::title_across(
        &mut scene,
        &rate_title,
        left + used / 2.0,
        grid_bottom + axis::depth_below() + 1.6,
        typeface,
    );
    let entries = legend_entries(figure, typeface);
    let bottom = legend::draw(&mut scene, &entries, at(left, bottom + 2.2), width - left - EDGE, typeface);
    scene.height = bottom + EDGE / 2.0;
    scene
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

/// From zero to the highest rate of any panel.
fn rate_range(panels: &[ResponsePanel]) -> [f64; 2] {
    axis::extent(
        panels
            .iter()
            .flat_map(|panel| {
                let plots = panel.plots.iter().chain(&panel.curve).map(|[rate, _]| *rate);
                let means = panel.means.iter().map(|mean| mean.rate);
                plots.chain(means).chain(panel.tested)
            })
            .chain([0.0]),
    )
}

/// The rate scale with its side spaces; places are filled in by the caller.
fn rate_scale([low, high]: [f64; 2]) -> Scale {
    let side = SIDE * (high - low);
    Scale { low: low - side, high: high + side, from: 0.0, to: 1.0 }
}

/// Width of a panel, the gap between two, and the ticks that fit.
fn across(rates: [f64; 2], room: f64, columns: usize, typeface: &Typeface) -> (f64, f64, Vec<Tick>) {
    // Labels at the ends of neighbouring axes must not meet.
    let gap = 4.0;
    let width = (room - (columns - 1) as f64 * gap) / columns as f64;
    let scale = Scale { to: width, ..rate_scale(rates) };
    let ticks = axis::ticks_across(&scale, rates, typeface);
    let overhang = axis::overhang(&ticks, &scale, typeface);
    let lead = ticks.first().map_or(0.0, |tick| typeface.length(&tick.label, SMALL) / 2.0 - scale.place(tick.value));
    let gap = gap.max(overhang + lead.max(0.0) + 2.0);
    let room = room - overhang;
    let width = (room - (columns - 1) as f64 * gap) / columns as f64;
    (width, gap, ticks)
}

/// The yield scale of all panels, with `strip` mm kept free at the bottom for marked rates.
fn yield_scale(panels: &[ResponsePanel], height: f64, strip: f64) -> Scale {
    let [low, high] = axis::extent(panels.iter().flat_map(panel::core_yields));
    // A band may run off to any height; it widens the axis by a fifth at most and is cut at the frame.
    let spare = 0.2 * (high - low);
    let [band_low, band_high] = panels
        .iter()
        .flat_map(|panel| &panel.band)
        .fold([low, high], |[low, high], point| [low.min(point.low), high.max(point.high)]);
    let bottom = band_low.max(low - spare);
    let top = band_high.min(high + spare);
    let head = 1.5;
    let per_mm = (top - bottom) / (height - strip - head);
    let (mut axis_low, axis_high) = (bottom - strip * per_mm, top + head * per_mm);
    // Where the data come near zero anyway, the axis begins there.
    if axis_low > 0.0 && low < 0.25 * axis_high {
        axis_low = 0.0;
    }
    Scale { low: axis_low, high: axis_high, from: height, to: 0.0 }
}

/// The curve's name where all panels share it.
fn shared_curve_label(figure: &ResponsePanels) -> Option<&str> {
    let mut labels = figure
        .panels
        .iter()
        .filter(|panel| !panel.curve.is_empty() && panel.curve_line == CurveLine::Response)
        .map(|panel| panel.curve_label.as_str());
    let first = labels.next()?;
    labels.all(|label| label == first).then_some(first)
}

fn legend_entries(figure: &ResponsePanels, typeface: &Typeface) -> Vec<Entry> {
    let panels = &figure.panels;
    let mut entries = Vec::new();
    if panels.iter().any(|panel| !panel.plots.is_empty()) {
        entries.push(Entry::new("plot", |scene, middle| {
            panel::PLOT.draw(scene, middle);
        }));
    }
    if panels.iter().any(|panel| !panel.means.is_empty()) {
        let bars = panels.iter().flat_map(|panel| &panel.means).any(|mean| mean.standard_error.is_some());
        let words = if bars { "treatment mean ± SE" } else { "treatment mean" };
        entries.push(Entry::new(words, move |scene, middle| {
            if bars {
                panel::bar_up(scene, middle.x, [middle.y - 1.4, middle.y + 1.4], THIN, INK);
            }
            panel::MEAN.draw(scene, middle);
        }));
    }
    let fitted = |line| panels.iter().any(|panel| !panel.curve.is_empty() && panel.curve_line == line);
    if fitted(CurveLine::Response) {
        let words = shared_curve_label(figure).filter(|label| !label.trim().is_empty()).unwrap_or("fitted curve");
        entries.push(Entry::new(words, |scene, middle| {
            panel::curve_key(scene, middle, CurveLine::Response);
        }));
    }
    if fitted(CurveLine::NotShown) {
        entries.push(Entry::new("mean; response not shown", |scene, middle| {
            panel::curve_key(scene, middle, CurveLine::NotShown);
        }));
    }
    if panels.iter().any(|panel| !panel.band.is_empty()) {
        let tenths = (1_000.0 * figure.band_level).round();
        let percent = typeface.number(tenths / 10.0, usize::from(tenths % 10.0 != 0.0));
        entries.push(Entry::new(format!("{percent} % confidence band"), |scene, middle| {
            legend::swatch(scene, middle, MIST)
        }));
    }
    let optima = || panels.iter().filter_map(|panel| panel.optimum.as_ref());
    let joins = || panels.iter().filter_map(|panel| panel.join.as_ref());
    if let Some(words) = marked_words(optima) {
        let interval = optima().any(has_interval);
        entries.push(Entry::new(words, move |scene, middle| {
            panel::optimum_key(scene, middle, interval);
        }));
    }
    if let Some(words) = marked_words(joins) {
        let interval = joins().any(has_interval);
        entries.push(Entry::new(words, move |scene, middle| {
            panel::join_key(scene, middle, interval);
        }));
    }
    entries
}

pub(super) fn has_interval(marked: &MarkedRate) -> bool {
    marked.low.is_some() || marked.high.is_some()
}

/// The distinct names of marked rates, and whether their interval is drawn.
fn marked_words<'a, I: Iterator<Item = &'a MarkedRate>>(marked: impl Fn() -> I) -> Option<String> {
    let mut names: Vec<&str> = Vec::new();
    for one in marked() {
        if !names.contains(&one.name.as_str()) {
            names.push(&one.name);
        }
    }
    if names.is_empty() {
        return None;
    }
    let names = names.join(", ");
    Some(if marked().any(has_interval) { format!("{names} and interval") } else { names })
}
