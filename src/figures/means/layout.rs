//! Panels of means in rows: one yield axis for all, each panel with an axis of its own across.

use super::panel::{self, Foot, Header};
use super::{MeansFigure, MeansPanel, letters};
use crate::figures::axis::{self, Scale};
use crate::figures::legend::{self, Entry};
use crate::figures::panels::{self, Frame};
use crate::figures::scene::{INK, Scene, THIN, at};
use crate::figures::typeface::{LARGE, Typeface};

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Space between panels side by side, mm.
const GAP: f64 = 5.0;
/// Space between rows of panels, mm.
const ROW_GAP: f64 = 4.0;
/// Width that a panel should not fall below, mm.
const NARROWEST: f64 = 48.0;

/// A panel with its places across.
struct Placed<'a> {
    panel: &'a MeansPanel,
    across: Scale,
    /// Row of each mean's letters; `None` where letters are left out.
    rows: Option<Vec<Option<usize>>>,
    foot: Foot,
    header: Header,
    x: f64,
}

impl<'a> Placed<'a> {
    fn new(panel: &'a MeansPanel, [x, width]: [f64; 2], typeface: &Typeface) -> Self {
        let mut across = panel::scale(panel, x, x + width);
        let mut foot = panel::foot(panel, &across, typeface);
        let overhang = axis::overhang(&foot.ticks, &across, typeface);
        if overhang > 0.0 {
            across.to -= overhang;
            foot = panel::foot(panel, &across, typeface);
        }
        let rows = panel::letter_rows(panel, &across, typeface);
        let header = panel::header(panel, &foot, rows.is_some(), width, typeface);
        Self { panel, across, rows, foot, header, x }
    }
}

pub(super) fn lay_out(figure: &MeansFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let count = figure.panels.len();
    let most = ((width - 12.0) / NARROWEST).floor().max(1.0) as usize;
    let columns = count.div_ceil(count.div_ceil(most)).max(1);
    let height = (0.62 * (width / columns as f64 - 8.0)).clamp(32.0, 60.0);

    let range = axis::extent(figure.panels.iter().flat_map(panel::yields));
    let data = panels::scale_with_room(range, range[0], height, [2.0, 1.5]);
    let ticks = axis::ticks_up(&data, data.low.max(range[0].min(0.0)), typeface);
    let title = typeface.wrap(&axis::with_unit("Mean yield", figure.yield_unit.as_deref()), LARGE, height);
    let left = EDGE
        + axis::width_of_title_up(title.len())
        + axis::longest_label(&ticks, typeface)
        + axis::LABEL_GAP
        + axis::TICK;
    let room = width - left - EDGE - (columns - 1) as f64 * GAP;
    let panel_width = room / columns as f64;
    let placed: Vec<Placed<'_>> = figure
        .panels
        .iter()
        .enumerate()
        .map(|(position, panel)| {
            let x = left + (position % columns) as f64 * (panel_width + GAP);
            Placed::new(panel, [x, panel_width], typeface)
        })
        .collect();
    // The letters' rows stand above the data of every panel.
    let rows = placed.iter().filter_map(|member| member.rows.as_deref()).map(letters::count).max().unwrap_or(0);
    let above = letters::height(rows);
    let high = data.low + (data.high - data.low) * height / (height - above);
    let up = Scale { high, ..data };

    let (mut top, mut bottom) = (EDGE, EDGE);
    for members in placed.chunks(columns) {
        let panel_top = top + members.iter().map(|member| member.header.height).fold(0.0, f64::max);
        let floor = panel_top + height;
        for (column, member) in members.iter().enumerate() {
            let up = Scale { from: floor, to: panel_top, ..up };
            let frame = Frame { across: member.across, up };
            panel::draw_header(&mut scene, &member.header, at(member.x, top), panel_width, typeface);
            panel::draw(&mut scene, member.panel, member.rows.as_deref(), &frame, typeface);
            axis::draw_up(&mut scene, &frame.up, member.x, &ticks, column == 0, typeface);
            let end = panel::draw_foot(&mut scene, member.panel, &member.foot, &frame, typeface);
            bottom = bottom.max(end);
        }
        axis::title_up(&mut scene, &title, EDGE, (panel_top + floor) / 2.0, typeface);
        top = bottom + ROW_GAP;
    }
    let end = legend::draw(&mut scene, &entries(figure), at(left, bottom + 2.2), width - left - EDGE, typeface);
    scene.height = end + EDGE / 2.0;
    scene
}

fn entries(figure: &MeansFigure) -> Vec<Entry> {
    let single = figure.panels.iter().any(|panel| !panel.is_interaction());
    if !single {
        return Vec::new();
    }
    let bars = figure.panels.iter().flat_map(MeansPanel::means).any(|mean| mean.standard_error.is_some());
    let words = if bars { "mean ± SE" } else { "mean" };
    vec![Entry::new(words, move |scene, middle| {
        if bars {
            scene.bar_up(middle.x, [middle.y - 1.4, middle.y + 1.4], THIN, INK);
        }
        panel::MEAN.draw(scene, middle);
    })]
}
