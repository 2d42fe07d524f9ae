//! What rules forgo, a row each site-year and a mark each rule.

use super::axis::{self, Scale};
use super::legend::{self, Entry};
use super::marker::Marker;
use super::scene::{Anchor, Colour, HAIR, INK, PAPER, Place, SAND, STONE, Scene, THIN, at};
use super::typeface::{LARGE, SMALL, Typeface, capital_height, line_height};
use super::{Description, FigureError, Words, check_number, check_text, check_unit};

/// A site-year, or the mean of several.
#[derive(Debug, Clone, PartialEq)]
pub struct ForgoneRow {
    /// Its name.
    pub name: String,
    /// What each rule of [`ForgoneFigure::rules`] forgoes; `None` where it has no rate.
    pub forgone: Vec<Option<f64>>,
    /// Whether these are lower bounds: an arrow.
    pub is_lower_bound: bool,
}

/// A figure of forgone returns.
#[derive(Debug, Clone, PartialEq)]
pub struct ForgoneFigure {
    /// Unit of the returns.
    pub unit: String,
    /// The rules, as the legend names them.
    pub rules: Vec<String>,
    /// A row each site-year.
    pub rows: Vec<ForgoneRow>,
    /// Their mean, in the last row; `None`: not shown.
    pub mean: Option<ForgoneRow>,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Distance of the rules' marks in a row, mm.
const PITCH: f64 = 2.05;
/// Clear paper above and below the marks of a row, mm.
const ROW_PAD: f64 = 0.7;
/// From the edge of a shaded row to its name, mm.
const INSET: f64 = 1.0;
/// Names take at most this share of the width.
const NAMES: f64 = 0.36;
/// Length of the arrow of a bound, mm.
const ARROW: f64 = 3.2;
/// Most rows of one figure.
pub(super) const MOST_ROWS: usize = 60;

impl Description for ForgoneFigure {
    fn validate(&self) -> Result<(), FigureError> {
        let is_none = |row: &ForgoneRow| row.forgone.iter().all(Option::is_none);
        if self.rows.iter().all(is_none) {
            return Err(FigureError::Empty { what: "the figure of forgone returns".to_owned() });
        }
        if self.rows.len() > MOST_ROWS {
            return Err(FigureError::TooManyPanels { count: self.rows.len(), most: MOST_ROWS });
        }
        if self.rules.len() > Marker::GROUPS {
            return Err(FigureError::TooManyPanels { count: self.rules.len(), most: Marker::GROUPS });
        }
        check_unit("the unit of returns", Some(&self.unit))?;
        self.rules.iter().try_for_each(|rule| check_text("a rule", rule))?;
        for row in self.all() {
            check_text("a site-year", &row.name)?;
            row.forgone.iter().flatten().try_for_each(|forgone| check_number("a forgone return", *forgone))?;
        }
        Ok(())
    }

    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene {
        lay_out(self, width, typeface)
    }

    fn words(&self) -> &Words {
        &self.words
    }

    fn usual_width(&self) -> super::Width {
        super::Width::OneAndAHalfColumns
    }
}

impl ForgoneFigure {
    fn all(&self) -> impl Iterator<Item = &ForgoneRow> {
        self.rows.iter().chain(&self.mean)
    }

    fn marker(&self, rule: usize) -> Marker {
        Marker::of_group(rule, self.rules.len())
    }
}

fn lay_out(figure: &ForgoneFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let names: Vec<Vec<String>> = figure.all().map(|row| typeface.wrap(&row.name, SMALL, NAMES * width)).collect();
    let longest = names.iter().flatten().map(|line| typeface.length(line, SMALL)).fold(0.0, f64::max);
    let left = EDGE + INSET + longest + 1.6;
    let marks = figure.rules.len().max(1) as f64 * PITCH;
    let height = |lines: &Vec<String>| marks.max(lines.len() as f64 * line_height(SMALL)) + 2.0 * ROW_PAD;
    let heights: Vec<f64> = names.iter().map(height).collect();
    let bottom = EDGE + heights.iter().sum::<f64>();
    let values = figure.all().flat_map(|row| row.forgone.iter().flatten().copied());
    let [low, high] = axis::extent(values.chain([0.0]));
    let bounded = figure.all().any(|row| row.is_lower_bound);
    let span = width - EDGE - left;
    let per_mm = (high - low) / (span - if bounded { ARROW + 2.0 } else { 2.0 });
    let end = if bounded { ARROW + 1.0 } else { 1.0 };
    let foot = if low < 0.0 { per_mm } else { 0.0 };
    let mut across = Scale { low: low - foot, high: high + end * per_mm, from: left, to: width - EDGE };
    let ticks = axis::ticks_across(&across, [across.low, high], typeface);
    across.to -= axis::overhang(&ticks, &across, typeface);

    // Every second row is shaded: it leads the eye from the name to the marks. Lines up from the ticks stand out from either ground.
    let up_from_ticks = |scene: &mut Scene, top: f64, bottom: f64, colour: Colour| {
        for tick in &ticks {
            let x = across.place(tick.value);
            scene.line(vec![at(x, top), at(x, bottom)], HAIR, colour);
        }
    };
    up_from_ticks(&mut scene, EDGE, bottom, SAND);
    let mut top = EDGE;
    let site_years = figure.rows.len();
    for (position, height) in heights.iter().enumerate() {
        if position % 2 == 1 && position < site_years {
            scene.rectangle(at(EDGE, top), at(across.to, top + height), SAND);
            up_from_ticks(&mut scene, top, top + height, PAPER);
        }
        top += height;
    }
    let zero = across.place(0.0);
    scene.line(vec![at(zero, EDGE), at(zero, bottom)], HAIR, STONE);
    let mut top = EDGE;
    for (position, ((row, lines), height)) in figure.all().zip(&names).zip(&heights).enumerate() {
        if position == site_years {
            scene.line(vec![at(EDGE, top), at(across.to, top)], HAIR, INK);
        }
        draw_name(&mut scene, lines, left - 1.6, top, *height, typeface);
        draw_row(&mut scene, figure, row, &across, top + (height - marks) / 2.0);
        top += height;
    }
    axis::draw_across(&mut scene, &across, bottom, &ticks, true, typeface);
    let title = typeface.wrap(&axis::with_unit("Forgone return", Some(&figure.unit)), LARGE, span);
    let middle = (left + across.to) / 2.0;
    let end = axis::title_across(&mut scene, &title, middle, bottom + axis::depth_below() + 1.6, typeface);
    let entries = entries(figure);
    let end = legend::draw(&mut scene, &entries, at(EDGE, end + 2.2), width - 2.0 * EDGE, typeface);
    scene.height = end + EDGE / 2.0;
    scene
}

fn draw_name(scene: &mut Scene, lines: &[String], right: f64, top: f64, height: f64, typeface: &Typeface) {
    let block = (lines.len().saturating_sub(1)) as f64 * line_height(SMALL) + capital_height(SMALL);
    let first = top + (height - block) / 2.0 + capital_height(SMALL);
    for (position, line) in lines.iter().enumerate() {
        let place = at(right, first + position as f64 * line_height(SMALL));
        scene.text(line, SMALL, typeface.length(line, SMALL), Anchor::End, place);
    }
}

fn draw_row(scene: &mut Scene, figure: &ForgoneFigure, row: &ForgoneRow, across: &Scale, top: f64) {
    for (rule, forgone) in row.forgone.iter().enumerate().take(figure.rules.len()) {
        let Some(forgone) = forgone else { continue };
        let marker = figure.marker(rule);
        let place = at(across.place(*forgone), top + (rule as f64 + 0.5) * PITCH);
        scene.line(vec![at(across.place(0.0), place.y), place], HAIR, marker.colour);
        if row.is_lower_bound {
            arrow(scene, [place, at((place.x + ARROW).min(across.to), place.y)], marker.colour);
        }
        marker.draw(scene, place);
    }
}

fn arrow(scene: &mut Scene, [from, tip]: [Place; 2], colour: Colour) {
    scene.line(vec![from, at(tip.x - 1.0, tip.y)], THIN, colour);
    scene.arrow_head(tip, (1.0, 0.0), colour);
}

fn entries(figure: &ForgoneFigure) -> Vec<Entry> {
    let mut entries: Vec<Entry> = Vec::new();
    for (rule, name) in figure.rules.iter().enumerate() {
        let marker = figure.marker(rule);
        entries.push(Entry::new(name.as_str(), move |scene, middle| marker.draw(scene, middle)));
    }
    if figure.all().any(|row| row.is_lower_bound) {
        entries.push(Entry::new("at least", |scene, Place { x, y }| {
            arrow(scene, [at(x - 1.6, y), at(x + 1.6, y)], INK);
        }));
    }
    entries
}
