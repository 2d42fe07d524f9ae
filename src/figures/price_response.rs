//! The economic optimum against the price ratio: what a caller describes, and its drawing.

use super::axis::{self, Scale};
use super::calibration::Censoring;
use super::legend::{self, Entry};
use super::marker::{Form, Marker};
use super::panels::{self, Frame, HeaderLine, MOST_PANELS, Panels};
use super::response::check_rising;
use super::scene::{BOLD, BRICK, HAIR, INK, MIST, Place, SEA, STONE, Scene, THIN, at, thinned};
use super::typeface::Typeface;
use super::{Description, FigureError, Width, Words, check_numbers, check_order, check_text, check_unit};

/// A stretch of price ratios over which the optimum is one kind of rate.
#[derive(Debug, Clone, PartialEq)]
pub struct PriceStretch {
    /// Whether the optimum is the rate drawn, at least that, or at most.
    pub bound: Censoring,
    /// The line as (price ratio, rate), ratios rising.
    pub points: Vec<[f64; 2]>,
}

/// The interval of the optimum at one price ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriceBandPoint {
    /// Price ratio.
    pub ratio: f64,
    /// Lower limit, no lower than the lowest tested rate.
    pub low: f64,
    /// Upper limit, no higher than the highest tested rate.
    pub high: f64,
}

/// The optimum at one of the season's price ratios.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriceMark {
    /// Price ratio.
    pub ratio: f64,
    /// The optimum there.
    pub rate: f64,
    /// Whether the season's results are at this ratio.
    pub base: bool,
}

/// One group: a trial, or one variety, or one level of another factor.
#[derive(Debug, Clone, PartialEq)]
pub struct PricePanel {
    /// Title of the panel; usually `None` where there is only one.
    pub title: Option<String>,
    /// The optimum, ratios rising; empty where a response is not shown.
    pub line: Vec<PriceStretch>,
    /// Its interval: unbroken stretches, ratios rising.
    pub bands: Vec<Vec<PriceBandPoint>>,
    /// The season's price ratios.
    pub marks: Vec<PriceMark>,
    /// Lowest and highest rate tested.
    pub tested: [f64; 2],
    /// The words above the panel, such as "EONR 107 lb/ac" behind the mark of the base ratio, or "response not shown". May be empty.
    pub note: String,
}

/// A figure of optima against price ratios on shared axes.
#[derive(Debug, Clone, PartialEq)]
pub struct PriceResponseFigure {
    /// What the rate axis counts, such as "EONR".
    pub rate_name: String,
    /// Unit of N rate; `None` where the data declare none.
    pub rate_unit: Option<String>,
    /// Unit of price ratio; `None` where the data declare none.
    pub ratio_unit: Option<String>,
    /// What the band is, for the legend.
    pub band_text: String,
    /// What the mark at the base ratio is called in the legend.
    pub base_text: String,
    /// What the marks at the other ratios are called.
    pub others_text: String,
    /// The panels, in reading order.
    pub panels: Vec<PricePanel>,
    /// The words that go with it.
    pub words: Words,
}

const BASE: Marker = Marker { form: Form::Diamond, filled: true, size: 1.1, colour: BRICK };
const OTHER: Marker = Marker { form: Form::Circle, filled: false, size: 0.95, colour: INK };
const BOUND_DASH: [f64; 2] = [1.4, 0.9];
const TESTED_DASH: [f64; 2] = [0.4, 0.7];
/// Width of the small drawing before a note, mm.
const NOTE_KEY: f64 = 4.0;
/// How far an arrow reaches from a bound, mm.
const ARROW: f64 = 2.8;
/// One arrow for so many millimetres of a bound, and at least one.
const ARROW_EVERY: f64 = 14.0;

impl Description for PriceResponseFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.panels.iter().all(|panel| panel.line.is_empty() && panel.bands.is_empty()) {
            return Err(FigureError::Empty { what: "the figure of optima against price ratios".to_owned() });
        }
        if self.panels.len() > MOST_PANELS {
            return Err(FigureError::TooManyPanels { count: self.panels.len(), most: MOST_PANELS });
        }
        for (what, text) in [
            ("the rate axis's name", &self.rate_name),
            ("the words of the band", &self.band_text),
            ("the words of the base ratio", &self.base_text),
            ("the words of the other ratios", &self.others_text),
        ] {
            check_text(what, text)?;
        }
        check_unit("the rate unit", self.rate_unit.as_deref())?;
        check_unit("the unit of price ratios", self.ratio_unit.as_deref())?;
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

impl PricePanel {
    fn validate(&self, name: &str) -> Result<(), FigureError> {
        let what = |part: &str| format!("{part} of {name}");
        check_text(&what("title"), self.title.as_deref().unwrap_or(""))?;
        check_text(&what("the note"), &self.note)?;
        check_order(&what("the tested range"), self.tested[0], self.tested[1])?;
        for stretch in &self.line {
            check_numbers(&what("the line"), stretch.points.iter().flatten().copied())?;
            check_rising(&what("the line"), stretch.points.iter().map(|[ratio, _]| *ratio))?;
        }
        for band in &self.bands {
            check_numbers(&what("the band"), band.iter().map(|point| point.ratio))?;
            check_rising(&what("the band"), band.iter().map(|point| point.ratio))?;
            band.iter().try_for_each(|point| check_order(&what("the band"), point.low, point.high))?;
        }
        check_numbers(&what("a mark"), self.marks.iter().flat_map(|mark| [mark.ratio, mark.rate]))
    }

    /// Everything in it as (price ratio, rate).
    fn places(&self) -> impl Iterator<Item = [f64; 2]> + '_ {
        let line = self.line.iter().flat_map(|stretch| stretch.points.iter().copied());
        let band = self.bands.iter().flatten().flat_map(|point| [[point.ratio, point.low], [point.ratio, point.high]]);
        line.chain(band).chain(self.marks.iter().map(|mark| [mark.ratio, mark.rate]))
    }
}

impl PriceResponseFigure {
    fn has(&self, bound: Censoring) -> bool {
        self.panels.iter().flat_map(|panel| &panel.line).any(|stretch| stretch.bound == bound)
    }

    fn has_mark(&self, base: bool) -> bool {
        self.panels.iter().flat_map(|panel| &panel.marks).any(|mark| mark.base == base)
    }
}

impl Panels for PriceResponseFigure {
    fn count(&self) -> usize {
        self.panels.len()
    }

    fn axis_titles(&self) -> [String; 2] {
        [
            axis::with_unit("Price ratio", self.ratio_unit.as_deref()),
            axis::with_unit(&self.rate_name, self.rate_unit.as_deref()),
        ]
    }

    fn range_across(&self) -> [f64; 2] {
        axis::extent(self.panels.iter().flat_map(PricePanel::places).map(|[ratio, _]| ratio).chain([0.0]))
    }

    fn scale_up(&self, height: f64) -> Scale {
        let rates = self.panels.iter().flat_map(|panel| panel.places().map(|[_, rate]| rate).chain(panel.tested));
        let range = axis::extent(rates.chain([0.0]));
        let above = if self.has(Censoring::AtLeast) { ARROW + 1.0 } else { 1.5 };
        panels::scale_with_room(range, range[0], height, [1.5, above])
    }

    fn lowest_tick(&self) -> f64 {
        self.panels.iter().flat_map(PricePanel::places).map(|[_, rate]| rate).fold(0.0, f64::min)
    }

    fn header(&self, panel: usize, width: f64, typeface: &Typeface) -> Vec<HeaderLine> {
        let Some(panel) = self.panels.get(panel) else { return Vec::new() };
        let mut lines = panels::title_lines(panel.title.as_deref().unwrap_or(""), width, typeface);
        let (marked, indent) = if panel.marks.iter().any(|mark| mark.base) { (true, NOTE_KEY) } else { (false, 0.0) };
        let sign = move |scene: &mut Scene, middle: Place| {
            if marked {
                BASE.draw(scene, middle);
            }
        };
        lines.extend(panels::note_lines(sign, indent, &panel.note, width, typeface));
        lines
    }

    fn draw(&self, panel: usize, frame: &Frame, scene: &mut Scene) {
        if let Some(panel) = self.panels.get(panel) {
            draw(scene, panel, frame);
        }
    }

    fn entries(&self, _: &Typeface) -> Vec<Entry> {
        let mut entries = Vec::new();
        for (bound, words) in
            [(Censoring::None, ""), (Censoring::AtLeast, " at least"), (Censoring::AtMost, " at most")]
        {
            if self.has(bound) {
                entries.push(Entry::new(format!("{}{words}", self.rate_name), move |scene, Place { x, y }| {
                    let down = if bound == Censoring::AtMost { -0.8 } else { 0.8 };
                    let y = if bound == Censoring::None { y } else { y + down };
                    stroke(scene, &[at(x - 3.2, y), at(x + 3.2, y)], bound);
                    arrow(scene, at(x, y), bound, 2.2);
                }));
            }
        }
        if self.panels.iter().any(|panel| !panel.bands.is_empty()) {
            entries.push(Entry::new(&self.band_text, |scene, middle| legend::swatch(scene, middle, MIST)));
        }
        for (base, words, marker) in [(true, &self.base_text, BASE), (false, &self.others_text, OTHER)] {
            if self.has_mark(base) {
                entries.push(Entry::new(words, move |scene, middle| marker.draw(scene, middle)));
            }
        }
        entries.push(Entry::new("highest tested rate", |scene, Place { x, y }| {
            scene.dashes(&[at(x - 3.2, y), at(x + 3.2, y)], TESTED_DASH, THIN, STONE);
        }));
        entries
    }
}

fn draw(scene: &mut Scene, panel: &PricePanel, frame: &Frame) {
    let place = |[ratio, rate]: [f64; 2]| at(frame.across.place(ratio), frame.up.place(rate));
    for band in panel.bands.iter().filter(|band| band.len() > 1) {
        let upper = band.iter().map(|point| place([point.ratio, point.high]));
        let lower = band.iter().rev().map(|point| place([point.ratio, point.low]));
        let outline: Vec<Place> = upper.chain(lower).collect();
        scene.area(thinned(&outline), MIST);
    }
    let highest = frame.up.place(panel.tested[1]);
    scene.dashes(&[at(frame.across.from, highest), at(frame.across.to, highest)], TESTED_DASH, HAIR, STONE);
    for stretch in &panel.line {
        let places: Vec<Place> = stretch.points.iter().map(|point| place(*point)).collect();
        stroke(scene, &places, stretch.bound);
        if let (Some(first), Some(last)) = (places.first(), places.last()) {
            let arrows = ((last.x - first.x) / ARROW_EVERY).round().max(1.0);
            for number in 0..arrows as u32 {
                let x = first.x + (f64::from(number) + 0.5) / arrows * (last.x - first.x);
                if let Some(y) = height_on(&places, x) {
                    let most = if stretch.bound == Censoring::AtMost { frame.up.from - y } else { y - frame.up.to };
                    arrow(scene, at(x, y), stretch.bound, ARROW.min(most));
                }
            }
        }
    }
    for (base, marker) in [(false, OTHER), (true, BASE)] {
        for mark in panel.marks.iter().filter(|mark| mark.base == base) {
            marker.draw(scene, place([mark.ratio, mark.rate]));
        }
    }
}

/// How high a line stands at `x`.
fn height_on(places: &[Place], x: f64) -> Option<f64> {
    places.iter().zip(places.iter().skip(1)).find_map(|(from, to)| {
        if !(from.x..=to.x).contains(&x) {
            return None;
        }
        let share = if to.x > from.x { (x - from.x) / (to.x - from.x) } else { 0.0 };
        Some(from.y + share * (to.y - from.y))
    })
}

fn stroke(scene: &mut Scene, places: &[Place], bound: Censoring) {
    if places.len() < 2 {
        return;
    }
    match bound {
        Censoring::None => scene.curve(places, BOLD, SEA),
        Censoring::AtMost | Censoring::AtLeast => scene.dashes(places, BOUND_DASH, BOLD, SEA),
    }
}

/// An arrow from a bound to the side that the optimum may lie on; none where there is no room for it.
fn arrow(scene: &mut Scene, from: Place, bound: Censoring, length: f64) {
    let down = match bound {
        Censoring::None => return,
        Censoring::AtMost => 1.0,
        Censoring::AtLeast => -1.0,
    };
    if length < 1.6 {
        return;
    }
    let tip = at(from.x, from.y + down * length);
    scene.line(vec![from, at(tip.x, tip.y - down)], THIN, SEA);
    scene.arrow_head(tip, (0.0, down), SEA);
}
