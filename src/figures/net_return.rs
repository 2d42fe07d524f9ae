//! Net return against N rate at several price ratios: what a caller describes, and its drawing.

use super::axis::{self, Scale};
use super::calibration::Censoring;
use super::legend::Entry;
use super::panels::{self, Frame, HeaderLine, MOST_PANELS, Panels};
use super::response::check_rising;
use super::scene::{BOLD, HAIR, OCHRE, Place, STONE, Scene, THIN, at};
use super::stroke::Stroke;
use super::typeface::Typeface;
use super::{Description, FigureError, Width, Words, check_number, check_numbers, check_order, check_text, check_unit};

/// The best rate on a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BestRate {
    /// The rate, in the rate unit.
    pub rate: f64,
    /// Its net return, in the unit of returns.
    pub net_return: f64,
    /// Whether the best rate is this one, at least this, or at most.
    pub bound: Censoring,
}

/// Net return at one price ratio.
#[derive(Debug, Clone, PartialEq)]
pub struct NetReturnLine {
    /// The line as (rate, net return), rates rising, dense enough to look smooth.
    pub points: Vec<[f64; 2]>,
    /// The best rate on it; `None`: no mark.
    pub best: Option<BestRate>,
}

/// Rates about as good as the best.
#[derive(Debug, Clone, PartialEq)]
pub struct NearOptimumRange {
    /// The lowest, in the rate unit.
    pub low: f64,
    /// The highest.
    pub high: f64,
    /// The words above the panel, such as "near-optimum 93 to 121 lb/ac".
    pub label: String,
}

/// One group: a trial, or one variety, or one level of another factor.
#[derive(Debug, Clone, PartialEq)]
pub struct NetReturnPanel {
    /// Title of the panel; usually `None` where there is only one.
    pub title: Option<String>,
    /// One line a price ratio, in the order of [`NetReturnFigure::ratios`]; empty where there is no curve to read them from.
    pub lines: Vec<NetReturnLine>,
    /// Rates about as good as the best at the first price ratio.
    pub near_optimum: Option<NearOptimumRange>,
    /// What else stands above the panel, such as "response not shown". May be empty.
    pub remark: String,
}

/// A figure of net returns on shared axes.
#[derive(Debug, Clone, PartialEq)]
pub struct NetReturnFigure {
    /// What the rate axis counts, such as "N rate" or "Topdress N rate".
    pub rate_name: String,
    /// Unit of N rate; `None` where the data declare none.
    pub rate_unit: Option<String>,
    /// Unit of net return: money over an area, or that of yields.
    pub return_unit: Option<String>,
    /// What each line is called in the legend, such as "price ratio 0.1 bu per lb N": the base first, at most twelve.
    pub ratios: Vec<String>,
    /// What the near-optimum range is called in the legend.
    pub near_text: String,
    /// The panels, in reading order.
    pub panels: Vec<NetReturnPanel>,
    /// The words that go with it.
    pub words: Words,
}

/// Width of the small drawing before a note, mm.
const NOTE_KEY: f64 = 4.0;
/// Height of the bar of the near-optimum range, mm.
const NEAR_HEIGHT: f64 = 1.2;
/// From the rate axis to its middle, mm.
const NEAR_ABOVE: f64 = 1.7;
/// Free space above the rate axis where there is such a bar, mm.
const NEAR_STRIP: f64 = 3.6;
/// Width of the lines after the first, mm.
const OTHER_LINE: f64 = 0.38;
const ZERO_DASH: [f64; 2] = [0.8, 0.8];
const DROP_DASH: [f64; 2] = [0.7, 0.6];
/// How far an arrow of a bound reaches from its mark, mm.
const ARROW: f64 = 2.7;

impl Description for NetReturnFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if !self.panels.iter().flat_map(|panel| &panel.lines).any(|line| !line.points.is_empty()) {
            return Err(FigureError::Empty { what: "the figure of net returns".to_owned() });
        }
        if self.panels.len() > MOST_PANELS {
            return Err(FigureError::TooManyPanels { count: self.panels.len(), most: MOST_PANELS });
        }
        let lines = self.panels.iter().map(|panel| panel.lines.len()).chain([self.ratios.len()]).max().unwrap_or(0);
        if lines > Stroke::LINES {
            return Err(FigureError::TooManyLines { count: lines, most: Stroke::LINES });
        }
        check_text("the rate axis's name", &self.rate_name)?;
        check_text("the words of the near-optimum range", &self.near_text)?;
        check_unit("the rate unit", self.rate_unit.as_deref())?;
        check_unit("the unit of returns", self.return_unit.as_deref())?;
        self.ratios.iter().try_for_each(|ratio| check_text("the words of a price ratio", ratio))?;
        self.panels.iter().enumerate().try_for_each(|(i, panel)| panel.validate(&format!("panel {}", i + 1)))
    }

    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene {
        panels::lay_out(self, width, typeface)
    }

    fn words(&self) -> &Words {
        &self.words
    }

    fn usual_width(&self) -> Width {
        if self.panels.len() == 1 { Width::SingleColumn } else { Width::DoubleColumn }
    }
}

impl NetReturnPanel {
    fn validate(&self, name: &str) -> Result<(), FigureError> {
        let what = |part: &str| format!("{part} of {name}");
        check_text(&what("title"), self.title.as_deref().unwrap_or(""))?;
        check_text(&what("the remark"), &self.remark)?;
        for line in &self.lines {
            check_numbers(&what("a line"), line.points.iter().flatten().copied())?;
            check_rising(&what("a line"), line.points.iter().map(|[rate, _]| *rate))?;
            if let Some(best) = line.best {
                check_number(&what("a best rate"), best.rate)?;
                check_number(&what("a net return"), best.net_return)?;
            }
        }
        self.near_optimum.iter().try_for_each(|near| {
            check_text(&what("the near-optimum range's label"), &near.label)?;
            check_order(&what("the near-optimum range"), near.low, near.high)
        })
    }

    fn points(&self) -> impl Iterator<Item = [f64; 2]> + '_ {
        let best = |line: &NetReturnLine| line.best.map(|best| [best.rate, best.net_return]);
        self.lines.iter().flat_map(move |line| line.points.iter().copied().chain(best(line)))
    }
}

impl Panels for NetReturnFigure {
    fn count(&self) -> usize {
        self.panels.len()
    }

    fn axis_titles(&self) -> [String; 2] {
        [
            axis::with_unit(&self.rate_name, self.rate_unit.as_deref()),
            axis::with_unit("Net return", self.return_unit.as_deref()),
        ]
    }

    fn range_across(&self) -> [f64; 2] {
        let rates = self.panels.iter().flat_map(|panel| {
            let near = panel.near_optimum.iter().flat_map(|near| [near.low, near.high]);
            panel.points().map(|[rate, _]| rate).chain(near)
        });
        axis::extent(rates.chain([0.0]))
    }

    fn scale_up(&self, height: f64) -> Scale {
        let range = axis::extent(self.panels.iter().flat_map(NetReturnPanel::points).map(|[_, value]| value));
        let near = self.panels.iter().any(|panel| panel.near_optimum.is_some());
        panels::scale_with_room(range, range[0], height, [if near { NEAR_STRIP } else { 2.0 }, 2.0])
    }

    fn lowest_tick(&self) -> f64 {
        self.panels.iter().flat_map(NetReturnPanel::points).map(|[_, value]| value).fold(0.0, f64::min)
    }

    fn header(&self, panel: usize, width: f64, typeface: &Typeface) -> Vec<HeaderLine> {
        let Some(panel) = self.panels.get(panel) else { return Vec::new() };
        let mut lines = panels::title_lines(panel.title.as_deref().unwrap_or(""), width, typeface);
        if let Some(near) = &panel.near_optimum {
            let sign = |scene: &mut Scene, middle: Place| near_bar(scene, [middle.x - 1.6, middle.x + 1.6], middle.y);
            lines.extend(panels::note_lines(sign, NOTE_KEY, &near.label, width, typeface));
        }
        lines.extend(panels::note_lines(|_, _| {}, 0.0, &panel.remark, width, typeface));
        lines
    }

    fn draw(&self, panel: usize, frame: &Frame, scene: &mut Scene) {
        if let Some(panel) = self.panels.get(panel) {
            draw(scene, panel, frame);
        }
    }

    fn entries(&self, _: &Typeface) -> Vec<Entry> {
        let line = |(index, words): (usize, &String)| {
            Entry::new(words, move |scene, middle| Stroke::of(index).key(scene, middle, width_of(index), true))
        };
        let mut entries: Vec<Entry> = self.ratios.iter().enumerate().map(line).collect();
        if self.panels.iter().any(|panel| panel.near_optimum.is_some()) {
            entries.push(Entry::new(&self.near_text, |scene, middle| {
                near_bar(scene, [middle.x - 2.8, middle.x + 2.8], middle.y);
            }));
        }
        entries
    }
}

fn width_of(index: usize) -> f64 {
    if index == 0 { BOLD } else { OTHER_LINE }
}

fn draw(scene: &mut Scene, panel: &NetReturnPanel, frame: &Frame) {
    let place = |[rate, value]: [f64; 2]| at(frame.across.place(rate), frame.up.place(value));
    if frame.up.low < 0.0 && frame.up.high > 0.0 {
        let zero = frame.up.place(0.0);
        scene.dashes(&[at(frame.across.from, zero), at(frame.across.to, zero)], ZERO_DASH, HAIR, STONE);
    }
    if let Some(near) = &panel.near_optimum {
        near_bar(scene, [near.low, near.high].map(|rate| frame.across.clamped(rate)), frame.up.from - NEAR_ABOVE);
    }
    if let Some(best) = panel.lines.first().and_then(|line| line.best) {
        let head = place([best.rate, best.net_return]);
        let foot = if panel.near_optimum.is_some() { NEAR_ABOVE + NEAR_HEIGHT / 2.0 } else { 0.0 };
        scene.dashes(&[head, at(head.x, frame.up.from - foot)], DROP_DASH, THIN, STONE);
    }
    for (index, line) in panel.lines.iter().enumerate() {
        let places: Vec<Place> = line.points.iter().map(|point| place(*point)).collect();
        Stroke::of(index).draw(scene, &places, width_of(index));
    }
    for (index, best) in panel.lines.iter().enumerate().filter_map(|(index, line)| Some((index, line.best?))) {
        mark(scene, Stroke::of(index), place([best.rate, best.net_return]), best.bound);
    }
}

/// The mark of a best rate; of a bound with an arrow to the side that it may lie on.
fn mark(scene: &mut Scene, stroke: Stroke, centre: Place, bound: Censoring) {
    let direction = match bound {
        Censoring::None => None,
        Censoring::AtMost => Some(-1.0),
        Censoring::AtLeast => Some(1.0),
    };
    if let Some(direction) = direction {
        let tip = at(centre.x + direction * ARROW, centre.y);
        scene.line(vec![centre, at(tip.x - direction, tip.y)], THIN, stroke.colour());
        scene.arrow_head(tip, (direction, 0.0), stroke.colour());
    }
    stroke.marker.draw(scene, centre);
}

/// The bar of a near-optimum range.
fn near_bar(scene: &mut Scene, [from, to]: [f64; 2], y: f64) {
    // A range of one rate is still seen.
    let (from, to) = if to - from < 0.4 { (from - 0.2, to + 0.2) } else { (from, to) };
    scene.rectangle(at(from, y - NEAR_HEIGHT / 2.0), at(to, y + NEAR_HEIGHT / 2.0), OCHRE);
}
