//! One panel: its header, its means, their letters, and the differences beside them.

use super::letters::{self, Lettered};
use super::{DifferenceBar, Levels, MeansPanel};
use crate::figures::axis::{self, LABEL_GAP, Scale, TICK, Tick};
use crate::figures::legend::{self, Entry};
use crate::figures::marker::{Form, Marker};
use crate::figures::panels::{self, Frame, HeaderLine};
use crate::figures::scene::{Anchor, BOLD, BRICK, Colour, HAIR, INK, Place, Scene, THIN, at};
use crate::figures::stroke::Stroke;
use crate::figures::typeface::{LARGE, SMALL, Typeface, capital_height, line_height};

pub(super) const MEAN: Marker = Marker { form: Form::Circle, filled: true, size: 0.95, colour: INK };
/// Width of the small drawing before a note, mm.
const NOTE_KEY: f64 = 4.0;
/// Room for each difference beside the panel, mm.
const BAR_ROOM: f64 = 3.2;
const LINE: f64 = 0.38;
/// Empty space at the sides of amounts, as a share of their range.
const SIDE: f64 = 0.07;
/// From the ends of the axis to the first and last name, at least, mm.
const NAME_SIDE: f64 = 1.5;
/// The most lines of a level's name below an axis.
const MOST_NAME_LINES: usize = 3;

/// What stands above a panel.
pub(super) struct Header {
    lines: Vec<HeaderLine>,
    series: Vec<Entry>,
    /// Height of all of it, mm.
    pub height: f64,
}

/// What stands below a panel: ticks, and names where they fit, or numbers that the header explains.
pub(super) struct Foot {
    pub ticks: Vec<Tick>,
    names: Vec<Vec<String>>,
    /// Names that are only numbered below the axis.
    numbered: Vec<String>,
    /// Height of ticks and labels, mm.
    pub depth: f64,
}

/// The axis of a panel between two places, with room for the differences beside it.
pub(super) fn scale(panel: &MeansPanel, from: f64, to: f64) -> Scale {
    let to = to - BAR_ROOM * panel.bars.len() as f64;
    match &panel.levels {
        Levels::Amounts(amounts) => {
            let [low, high] = axis::extent(amounts.iter().copied().chain([0.0]));
            let side = SIDE * (high - low);
            Scale { low: low - side, high: high + side, from, to }
        }
        Levels::Names(names) => {
            let count = names.len() as f64;
            // Letters of the first and last of many names stay clear of the axis and of the page's edge.
            let pad = (NAME_SIDE - (to - from) / count / 2.0).max(0.0);
            let side = 0.5 + pad * count / (to - from - 2.0 * pad);
            Scale { low: -side, high: count - 1.0 + side, from, to }
        }
    }
}

fn place_of(panel: &MeansPanel, level: usize, scale: &Scale) -> f64 {
    match &panel.levels {
        Levels::Amounts(amounts) => scale.place(amounts.get(level).copied().unwrap_or(0.0)),
        Levels::Names(_) => scale.place(level as f64),
    }
}

pub(super) fn foot(panel: &MeansPanel, scale: &Scale, typeface: &Typeface) -> Foot {
    let names = match &panel.levels {
        Levels::Amounts(amounts) => {
            let ticks = axis::ticks_across(scale, axis::extent(amounts.iter().copied().chain([0.0])), typeface);
            return Foot { ticks, names: Vec::new(), numbered: Vec::new(), depth: axis::depth_below() };
        }
        Levels::Names(names) => names,
    };
    let slot = (scale.to - scale.from) / names.len() as f64 - 1.0;
    let wrapped: Vec<Vec<String>> = names.iter().map(|name| typeface.wrap(name, SMALL, slot)).collect();
    // A word that would be broken is too long.
    let whole = |name: &String, lines: &Vec<String>| {
        lines.len() <= MOST_NAME_LINES && lines.join(" ").split_whitespace().eq(name.split_whitespace())
    };
    let fits = names.iter().zip(&wrapped).all(|(name, lines)| whole(name, lines));
    let tick = |(position, _): (usize, &String)| Tick { value: position as f64, label: (position + 1).to_string() };
    let ticks: Vec<Tick> = names.iter().enumerate().map(tick).collect();
    if fits {
        let lines = wrapped.iter().map(Vec::len).max().unwrap_or(1).max(1);
        let depth = axis::depth_below() + (lines - 1) as f64 * line_height(SMALL);
        return Foot { ticks, names: wrapped, numbered: Vec::new(), depth };
    }
    let widest = axis::longest_label(&ticks, typeface) + 1.0;
    let every = (widest / (slot + 1.0)).ceil().max(1.0) as usize;
    let ticks = ticks.into_iter().step_by(every).collect();
    let numbered = names.iter().enumerate().map(|(position, name)| format!("{} {name}", position + 1)).collect();
    Foot { ticks, names: Vec::new(), numbered, depth: axis::depth_below() }
}

pub(super) fn header(panel: &MeansPanel, foot: &Foot, lettered: bool, width: f64, typeface: &Typeface) -> Header {
    let mut lines = panels::title_lines(&panel.title, width, typeface);
    for (position, bar) in panel.bars.iter().enumerate() {
        let sign = move |scene: &mut Scene, Place { x, y }: Place| {
            let (width, colour) = bar_style(position);
            scene.bar_up(x, [y - 1.25, y + 1.25], width, colour);
        };
        lines.extend(panels::note_lines(sign, NOTE_KEY, &bar.label, width, typeface));
    }
    if !lettered {
        let words = "too many means for letters: they are in the table";
        lines.extend(panels::note_lines(|_, _| {}, 0.0, words, width, typeface));
    }
    for name in &foot.numbered {
        lines.extend(panels::note_lines(|_, _| {}, 0.0, name, width, typeface));
    }
    let entry = |(index, label): (usize, &str)| {
        Entry::new(label, move |scene, middle| Stroke::of(index).key(scene, middle, LINE, true))
    };
    let labels = panel.series.iter().map(|series| series.label.as_str());
    let series: Vec<Entry> = if panel.is_interaction() { labels.enumerate().map(entry).collect() } else { Vec::new() };
    let legend = if series.is_empty() {
        0.0
    } else {
        legend::draw(&mut Scene::default(), &series, at(0.0, 0.0), width, typeface) + 0.4
    };
    Header { height: panels::header_height(&lines) + legend, lines, series }
}

pub(super) fn draw_header(scene: &mut Scene, header: &Header, origin: Place, width: f64, typeface: &Typeface) {
    panels::draw_header(scene, &header.lines, origin.x, origin.y, typeface);
    if !header.series.is_empty() {
        let below = at(origin.x, origin.y + panels::header_height(&header.lines));
        legend::draw(scene, &header.series, below, width, typeface);
    }
}

/// Yields that must be inside the panel.
pub(super) fn yields(panel: &MeansPanel) -> impl Iterator<Item = f64> + '_ {
    let ends = panel.means().flat_map(|mean| {
        let error = mean.standard_error.unwrap_or(0.0);
        [mean.mean - error, mean.mean + error]
    });
    ends.chain(panel.bars.iter().flat_map(|bar| bar_ends(panel, bar)))
}

/// A difference stands about the middle of the means that it is held against.
fn bar_ends(panel: &MeansPanel, bar: &DifferenceBar) -> [f64; 2] {
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    let (low, high) = panel.means().fold(start, |(low, high), mean| (low.min(mean.mean), high.max(mean.mean)));
    let middle = low / 2.0 + high / 2.0;
    [middle - bar.length / 2.0, middle + bar.length / 2.0]
}

/// Rows of letters at the top of a panel.
pub(super) fn letter_rows(panel: &MeansPanel, scale: &Scale, typeface: &Typeface) -> Option<Vec<Option<usize>>> {
    let places: Vec<(f64, &str)> =
        panel.means().map(|mean| (place_of(panel, mean.level, scale), mean.letters.as_str())).collect();
    letters::rows(&places, typeface)
}

pub(super) fn draw(
    scene: &mut Scene,
    panel: &MeansPanel,
    rows: Option<&[Option<usize>]>,
    frame: &Frame,
    typeface: &Typeface,
) {
    let x = |level: usize| place_of(panel, level, &frame.across);
    let mut all: Vec<Lettered<'_>> = Vec::new();
    for (index, series) in panel.series.iter().enumerate() {
        let places: Vec<Place> = series.means.iter().map(|mean| at(x(mean.level), frame.up.place(mean.mean))).collect();
        if panel.is_interaction() {
            Stroke::of(index).draw(scene, &places, LINE);
        }
        for (mean, centre) in series.means.iter().zip(places) {
            let error = mean.standard_error.unwrap_or(0.0);
            let ends = [mean.mean - error, mean.mean + error].map(|end| frame.up.place(end));
            if mean.standard_error.is_some() {
                scene.bar_up(centre.x, ends, THIN, INK);
            }
            let [bottom, top] = ends;
            all.push(Lettered {
                x: centre.x,
                top: top.min(centre.y - MEAN.size),
                bottom: bottom.max(centre.y + MEAN.size),
                letters: &mean.letters,
            });
        }
    }
    // Markers over the lines of all series.
    for (index, series) in panel.series.iter().enumerate() {
        let marker = if panel.is_interaction() { Stroke::of(index).marker } else { MEAN };
        for mean in &series.means {
            marker.draw(scene, at(x(mean.level), frame.up.place(mean.mean)));
        }
    }
    for (position, bar) in panel.bars.iter().enumerate() {
        let x = frame.across.to + BAR_ROOM * (position as f64 + 0.5);
        let (width, colour) = bar_style(position);
        scene.bar_up(x, bar_ends(panel, bar).map(|end| frame.up.place(end)), width, colour);
    }
    if let Some(rows) = rows {
        let baselines = letters::baselines(&all, rows, frame.up.to, typeface);
        for (one, baseline) in all.iter().zip(baselines).filter(|(one, _)| !one.letters.is_empty()) {
            let length = typeface.length(one.letters, SMALL);
            scene.text(one.letters, SMALL, length, Anchor::Middle, at(one.x, baseline));
        }
    }
}

/// Ticks and labels below the panel; returns the bottom of the axis title, mm.
pub(super) fn draw_foot(scene: &mut Scene, panel: &MeansPanel, foot: &Foot, frame: &Frame, typeface: &Typeface) -> f64 {
    let floor = frame.up.from;
    axis::draw_across(scene, &frame.across, floor, &foot.ticks, foot.names.is_empty(), typeface);
    for (position, lines) in foot.names.iter().enumerate() {
        for (number, line) in lines.iter().enumerate() {
            let baseline = floor + TICK + LABEL_GAP + capital_height(SMALL) + number as f64 * line_height(SMALL);
            let length = typeface.length(line, SMALL);
            scene.text(line, SMALL, length, Anchor::Middle, at(frame.across.place(position as f64), baseline));
        }
    }
    let (from, to) = (frame.across.from, frame.across.to);
    let title = typeface.wrap(&panel.axis_label, LARGE, to - from);
    axis::title_across(scene, &title, (from + to) / 2.0, floor + foot.depth + 1.6, typeface)
}

/// The first difference is thick, the second thin.
fn bar_style(position: usize) -> (f64, Colour) {
    if position == 0 { (BOLD, BRICK) } else { (HAIR, INK) }
}
