//! The field seen from above: every plot at its place, shaded by a yield, a residual or a reading.

use std::collections::HashMap;

use super::axis::{self, LABEL_GAP, Scale};
use super::legend::{self, Entry};
use super::marker::{Form, Marker};
use super::scene::{Anchor, BOLD, Colour, HAIR, INK, PAPER, Place, SKY, STONE, STRAW, Scene, at, between};
use super::typeface::{LARGE, SMALL, Typeface, WIDER_FALLBACK, capital_height, line_height};
use super::{Description, FigureError, Words, check_number, check_text, check_unit};

/// A plot on the map.
#[derive(Debug, Clone, PartialEq)]
pub struct MapPlot {
    /// What it is called.
    pub name: String,
    /// Row of the field, from 1.
    pub row: u32,
    /// Place in the row, from 1.
    pub column: u32,
    /// Its block; neighbours of another are parted by a heavy line.
    pub block: Option<String>,
    /// What is shown of it; `None`: missing or left out, crossed out.
    pub value: Option<f64>,
    /// Whether it is an N-rich reference.
    pub is_reference: bool,
}

/// A map of a trial's plots.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldMap {
    /// What is shown, such as "Yield".
    pub quantity: String,
    /// Its unit; `None` where there is none.
    pub unit: Option<String>,
    /// Decimals of the printed values.
    pub decimals: usize,
    /// Whether values lie about zero: below and above it are then told apart by a mark and their sign.
    pub is_signed: bool,
    /// The plots, no two at one place.
    pub plots: Vec<MapPlot>,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Widest and lowest plot drawn, mm.
const CELL: [f64; 2] = [17.0, 2.4];
/// Clear paper at the sides of a text in its plot, mm.
const PAD: f64 = 0.5;
/// Room that a mark takes beside the name, mm.
const MARK: f64 = 2.2;
/// Most rows, and most columns, of a map.
const MOST: u32 = 100;
/// Width of the key to the shades, mm, and its steps.
const KEY: [f64; 2] = [60.0, 3.0];
const KEY_STEPS: u32 = 60;
const UP: Marker = Marker { form: Form::Triangle, filled: true, size: 0.65, colour: INK };
const DOWN: Marker = Marker { form: Form::PointDown, filled: false, size: 0.65, colour: INK };
const RICH: Marker = Marker { form: Form::Circle, filled: true, size: 0.55, colour: INK };

impl Description for FieldMap {
    fn validate(&self) -> Result<(), FigureError> {
        if self.plots.is_empty() {
            return Err(FigureError::Empty { what: "the map".to_owned() });
        }
        check_text("what the map shows", &self.quantity)?;
        check_unit("the map's unit", self.unit.as_deref())?;
        let mut taken: HashMap<(u32, u32), &str> = HashMap::new();
        for plot in &self.plots {
            check_text("a plot's name", &plot.name)?;
            check_text("a block's name", plot.block.as_deref().unwrap_or(""))?;
            plot.value.map_or(Ok(()), |value| check_number("a plot's value", value))?;
            if let Some(other) = taken.insert((plot.row, plot.column), &plot.name) {
                return Err(FigureError::SamePlace { first: other.to_owned(), second: plot.name.clone() });
            }
        }
        let grid = Grid::of(&self.plots);
        if grid.rows() > MOST || grid.columns() > MOST {
            return Err(FigureError::FieldTooLarge { rows: grid.rows(), columns: grid.columns(), most: MOST });
        }
        Ok(())
    }

    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene {
        lay_out(self, width, typeface)
    }

    fn words(&self) -> &Words {
        &self.words
    }
}

/// The rows and columns that a map spans.
#[derive(Debug, Clone, Copy)]
struct Grid {
    row: [u32; 2],
    column: [u32; 2],
}

impl Grid {
    fn of(plots: &[MapPlot]) -> Self {
        let span = |of: fn(&MapPlot) -> u32| {
            let values = || plots.iter().map(of);
            [values().min().unwrap_or(1), values().max().unwrap_or(1)]
        };
        Self { row: span(|plot| plot.row), column: span(|plot| plot.column) }
    }

    fn rows(self) -> u32 {
        (self.row[1] - self.row[0]).saturating_add(1)
    }

    fn columns(self) -> u32 {
        (self.column[1] - self.column[0]).saturating_add(1)
    }
}

/// What is printed in a plot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Print {
    NameAndValue,
    Value,
    /// Reading upward.
    UprightValue,
    Nothing,
}

/// The plots on the page.
#[derive(Debug, Clone, Copy)]
struct Cells {
    grid: Grid,
    origin: Place,
    width: f64,
    height: f64,
    print: Print,
}

impl Cells {
    /// As large as fits in `room` mm; the place is filled in later.
    fn of(figure: &FieldMap, room: f64, typeface: &Typeface) -> Self {
        let grid = Grid::of(&figure.plots);
        let width = (room / f64::from(grid.columns())).min(CELL[0]);
        let longest = |texts: &mut dyn Iterator<Item = String>| {
            texts.map(|text| typeface.length(&text, SMALL)).fold(0.0, f64::max)
        };
        let value = longest(&mut figure.plots.iter().filter_map(|plot| figure.text(plot, typeface)));
        let name = longest(&mut figure.plots.iter().map(|plot| plot.name.clone()));
        let fits = |length: f64| WIDER_FALLBACK * length + 2.0 * PAD <= width;
        let (print, height) = if fits(value.max(name + if figure.has_marks() { MARK } else { 0.0 })) {
            (Print::NameAndValue, 2.0 * line_height(SMALL) + 1.6)
        } else if fits(value) {
            (Print::Value, line_height(SMALL) + 1.0 + if figure.has_marks() { MARK } else { 0.0 })
        } else if capital_height(SMALL) + 2.0 * PAD <= width {
            let beside = if figure.has_marks() { MARK } else { 0.0 };
            (Print::UprightValue, WIDER_FALLBACK * value + 2.0 * PAD + beside)
        } else {
            (Print::Nothing, width.max(CELL[1]))
        };
        Self { grid, origin: at(0.0, 0.0), width, height, print }
    }

    /// Upper left and lower right corner of a plot.
    fn corners(&self, row: u32, column: u32) -> [Place; 2] {
        let step = |count: u32, size: f64| f64::from(count) * size;
        let x = self.origin.x + step(column - self.grid.column[0], self.width);
        let y = self.origin.y + step(row - self.grid.row[0], self.height);
        [at(x, y), at(x + self.width, y + self.height)]
    }
}

impl FieldMap {
    fn text(&self, plot: &MapPlot, typeface: &Typeface) -> Option<String> {
        let text = typeface.number(plot.value?, self.decimals);
        let is_above = self.is_signed && text.chars().any(|c| ('1'..='9').contains(&c)) && plot.value? > 0.0;
        Some(if is_above { format!("+{text}") } else { text })
    }

    fn values(&self) -> impl Iterator<Item = f64> {
        self.plots.iter().filter_map(|plot| plot.value)
    }

    /// Whether any plot is marked as a reference: one that has a sign is marked by that.
    fn has_reference(&self) -> bool {
        self.plots.iter().any(|plot| plot.is_reference && !(self.is_signed && plot.value.is_some()))
    }

    fn has_marks(&self) -> bool {
        self.is_signed || self.has_reference()
    }

    /// The range of the shades.
    fn range(&self) -> [f64; 2] {
        if self.is_signed {
            let most = self.values().map(f64::abs).fold(0.0, f64::max);
            let most = if most > 0.0 { most } else { 1.0 };
            return [-most, most];
        }
        axis::extent(self.values())
    }

    fn shade(&self, value: f64, [low, high]: [f64; 2]) -> Colour {
        match (self.is_signed, value < 0.0) {
            (true, true) => between(PAPER, STRAW, value / low),
            (true, false) => between(PAPER, SKY, value / high),
            (false, _) => between(PAPER, SKY, 0.08 + 0.92 * (value - low) / (high - low)),
        }
    }
}

fn lay_out(figure: &FieldMap, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let grid = Grid::of(&figure.plots);
    let labels = |[from, to]: [u32; 2]| [from, to].map(|number| typeface.length(&number.to_string(), SMALL));
    let row_label = labels(grid.row).into_iter().fold(0.0, f64::max);
    let left = EDGE + axis::width_of_title_up(1) + row_label + LABEL_GAP;
    let cells = Cells::of(figure, width - left - EDGE, typeface);
    let top = EDGE + capital_height(LARGE) + 1.6 + capital_height(SMALL) + LABEL_GAP;
    let cells = Cells { origin: at(left, top), ..cells };
    let [right, bottom] = [left + f64::from(grid.columns()) * cells.width, top + f64::from(grid.rows()) * cells.height];
    let range = figure.range();
    for plot in &figure.plots {
        draw_plot(&mut scene, figure, plot, &cells, range, typeface);
    }
    outline(&mut scene, &figure.plots, &cells);
    number_rows_and_columns(&mut scene, &cells, typeface);
    axis::title_across(&mut scene, &["Column".to_owned()], (left + right) / 2.0, EDGE, typeface);
    axis::title_up(&mut scene, &["Row".to_owned()], EDGE, (top + bottom) / 2.0, typeface);

    let mut end = bottom + 3.0;
    if figure.values().next().is_some() {
        let to = (left + KEY[0]).min(width - EDGE);
        end = draw_key(&mut scene, figure, range, [left, to], end, typeface) + 1.5;
    }
    let entries = entries(figure);
    let end = legend::draw(&mut scene, &entries, at(left, end), width - left - EDGE, typeface);
    scene.height = end + EDGE / 2.0;
    scene
}

fn draw_plot(
    scene: &mut Scene,
    figure: &FieldMap,
    plot: &MapPlot,
    cells: &Cells,
    range: [f64; 2],
    typeface: &Typeface,
) {
    let [from, to] = cells.corners(plot.row, plot.column);
    scene.rectangle(from, to, plot.value.map_or(PAPER, |value| figure.shade(value, range)));
    let mut value_top = from.y;
    if cells.print == Print::NameAndValue {
        let baseline = from.y + 0.9 + capital_height(SMALL);
        scene.text(&plot.name, SMALL, typeface.length(&plot.name, SMALL), Anchor::Start, at(from.x + PAD, baseline));
        value_top = from.y + line_height(SMALL) + 0.4;
    }
    match figure.text(plot, typeface) {
        Some(text) => print_value(scene, &text, cells, [at(from.x, value_top), to], figure.has_marks(), typeface),
        None => cross_out(scene, [at(from.x, value_top), to]),
    }
    let above = plot.value.filter(|_| figure.is_signed).map(|value| value > 0.0);
    let small = (cells.width.min(cells.height) / 3.2).min(1.0);
    let mark = at(to.x - 1.25 * small, from.y + 1.45 * small);
    let draw = |scene: &mut Scene, marker: Marker, place: Place| {
        Marker { size: marker.size * small, ..marker }.draw(scene, place);
    };
    match above {
        Some(above) => draw(scene, if above { UP } else { DOWN }, mark),
        None if plot.is_reference => draw(scene, RICH, mark),
        None => {}
    }
}

fn print_value(
    scene: &mut Scene,
    text: &str,
    cells: &Cells,
    [from, to]: [Place; 2],
    has_marks: bool,
    typeface: &Typeface,
) {
    let length = typeface.length(text, SMALL);
    let middle = (from.x + to.x) / 2.0;
    match cells.print {
        Print::NameAndValue => {
            let baseline = from.y + 0.3 + capital_height(SMALL);
            scene.text(text, SMALL, length, Anchor::Middle, at(middle, baseline));
        }
        // At the foot, below the mark.
        Print::Value => scene.text(text, SMALL, length, Anchor::Middle, at(middle, to.y - 1.0)),
        Print::UprightValue => {
            let top = from.y + if has_marks { MARK } else { 0.0 };
            let place = at(middle + capital_height(SMALL) / 2.0, (top + to.y) / 2.0);
            scene.text(text, SMALL, length, Anchor::Middle, place);
            if let Some(text) = scene.texts.last_mut() {
                text.upright = true;
            }
        }
        Print::Nothing => {}
    }
}

fn cross_out(scene: &mut Scene, [from, to]: [Place; 2]) {
    scene.line(vec![from, to], HAIR, INK);
    scene.line(vec![at(from.x, to.y), at(to.x, from.y)], HAIR, INK);
}

/// A hairline between plots of a block, a heavy line round the block.
fn outline(scene: &mut Scene, plots: &[MapPlot], cells: &Cells) {
    let blocks: HashMap<(u32, u32), Option<&str>> =
        plots.iter().map(|plot| ((plot.row, plot.column), plot.block.as_deref())).collect();
    let mut heavy = Vec::new();
    for plot in plots {
        let (row, column) = (plot.row, plot.column);
        let [from, to] = cells.corners(row, column);
        let sides = [
            ((row.checked_sub(1), Some(column)), [from, at(to.x, from.y)]),
            ((row.checked_add(1), Some(column)), [at(from.x, to.y), to]),
            ((Some(row), column.checked_sub(1)), [from, at(from.x, to.y)]),
            ((Some(row), column.checked_add(1)), [at(to.x, from.y), to]),
        ];
        for ((beside_row, beside_column), side) in sides {
            let beside = beside_row.zip(beside_column).and_then(|beside| blocks.get(&beside));
            if beside.is_some_and(|block| *block == plot.block.as_deref()) {
                scene.line(side.to_vec(), HAIR, STONE);
            } else {
                heavy.push(side);
            }
        }
    }
    for side in heavy {
        scene.line(side.to_vec(), BOLD, INK);
    }
}

fn number_rows_and_columns(scene: &mut Scene, cells: &Cells, typeface: &Typeface) {
    let Grid { row: [first_row, last_row], column: [first_column, last_column] } = cells.grid;
    let widest = typeface.length(&last_column.to_string(), SMALL) + 1.5;
    for column in numbered([first_column, last_column], cells.width, widest) {
        let [from, to] = cells.corners(first_row, column);
        let text = column.to_string();
        let (length, middle) = (typeface.length(&text, SMALL), (from.x + to.x) / 2.0);
        // The last number of narrow columns would leave the page.
        if middle + length / 2.0 < scene.width {
            scene.text(&text, SMALL, length, Anchor::Middle, at(middle, from.y - LABEL_GAP));
        }
    }
    for row in numbered([first_row, last_row], cells.height, line_height(SMALL)) {
        let [from, to] = cells.corners(row, first_column);
        let text = row.to_string();
        let place = at(from.x - LABEL_GAP, (from.y + to.y + capital_height(SMALL)) / 2.0);
        scene.text(&text, SMALL, typeface.length(&text, SMALL), Anchor::End, place);
    }
}

/// Every first, second, fifth, tenth … number, as many as have room.
fn numbered([first, last]: [u32; 2], size: f64, room: f64) -> impl Iterator<Item = u32> {
    let step = [1, 2, 5, 10, 20, 50].into_iter().find(|step| f64::from(*step) * size >= room).unwrap_or(100);
    (first..=last).filter(move |number| number.is_multiple_of(step))
}

/// The shades with their values; returns the bottom, mm.
fn draw_key(
    scene: &mut Scene,
    figure: &FieldMap,
    [low, high]: [f64; 2],
    [from, to]: [f64; 2],
    top: f64,
    typeface: &Typeface,
) -> f64 {
    let mut scale = Scale { low, high, from, to };
    let ticks = axis::ticks_across(&scale, [low, high], typeface);
    scale.to -= axis::overhang(&ticks, &scale, typeface);
    let bottom = top + KEY[1];
    for step in 0..KEY_STEPS {
        let share = |step: f64| low + (high - low) * step / f64::from(KEY_STEPS);
        let colour = figure.shade(share(f64::from(step) + 0.5), [low, high]);
        // Each reaches to the end, so that no seam shows between them.
        scene.rectangle(at(scale.place(share(f64::from(step))), top), at(scale.to, bottom), colour);
    }
    scene.line(vec![at(scale.from, bottom), at(scale.from, top), at(scale.to, top), at(scale.to, bottom)], HAIR, INK);
    axis::draw_across(scene, &scale, bottom, &ticks, true, typeface);
    let title = axis::with_unit(&figure.quantity, figure.unit.as_deref());
    let mut end = bottom + axis::depth_below() + 1.6;
    for line in typeface.wrap(&title, LARGE, scene.width - from - EDGE) {
        let baseline = end + capital_height(LARGE);
        scene.text(&line, LARGE, typeface.length(&line, LARGE), Anchor::Start, at(from, baseline));
        end += line_height(LARGE);
    }
    end
}

fn entries(figure: &FieldMap) -> Vec<Entry> {
    let box_at = |Place { x, y }: Place| [at(x - 2.4, y - 1.1), at(x + 2.4, y + 1.1)];
    let around = |[from, to]: [Place; 2]| vec![from, at(to.x, from.y), to, at(from.x, to.y), from, at(to.x, from.y)];
    let mut entries = Vec::new();
    if figure.plots.iter().any(|plot| plot.block.is_some()) {
        entries.push(Entry::new("block", move |scene, middle| scene.line(around(box_at(middle)), BOLD, INK)));
    }
    if figure.is_signed {
        entries.push(Entry::new("above zero", |scene, middle| UP.draw(scene, middle)));
        entries.push(Entry::new("zero or below", |scene, middle| DOWN.draw(scene, middle)));
    }
    if figure.has_reference() {
        entries.push(Entry::new("N-rich reference", |scene, middle| RICH.draw(scene, middle)));
    }
    if figure.plots.iter().any(|plot| plot.value.is_none()) {
        entries.push(Entry::new("missing or left out", move |scene, middle| {
            scene.line(around(box_at(middle)), HAIR, STONE);
            cross_out(scene, box_at(middle));
        }));
    }
    entries
}

#[cfg(test)]
mod tests {
    use super::numbered;
    use crate::figures::scene::{INK, PAPER, SKY, STRAW, between, luminance};

    #[test]
    fn type_on_every_shade_keeps_a_contrast_of_four_and_a_half() {
        for deepest in [SKY, STRAW] {
            for step in 0..=10 {
                let shade = luminance(between(PAPER, deepest, f64::from(step) / 10.0));
                // WCAG 2.1, contrast ratio.
                let contrast = (shade + 0.05) / (luminance(INK) + 0.05);
                assert!(contrast >= 4.5, "{contrast}");
            }
        }
        // In grey both sides of zero are as dark: the marks tell them apart.
        assert!((luminance(SKY) - luminance(STRAW)).abs() < 0.03);
    }

    #[test]
    fn rows_are_numbered_as_densely_as_there_is_room() {
        assert_eq!(numbered([1, 4], 5.0, 3.2).collect::<Vec<_>>(), [1, 2, 3, 4]);
        assert_eq!(numbered([3, 12], 0.7, 3.2).collect::<Vec<_>>(), [5, 10]);
    }
}
