//! The rates of a table by index, with their intervals and what they rest on, or those of two tables.

use super::axis::{self, Scale};
use super::legend::{self, Entry};
use super::scene::{Anchor, BOLD, BRICK, Colour, HAIR, INK, MIST, Place, SEA, STONE, Scene, THIN, at};
use super::typeface::{LARGE, SMALL, Typeface, capital_height, line_height};
use super::{Description, FigureError, Words, check_numbers, check_order, check_text, check_unit};

/// A row of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index at which it begins.
    pub from: f64,
    /// Index at which it ends.
    pub below: f64,
    /// Its rate, in the rate unit.
    pub rate: f64,
    /// Lower limit of the return-maximising rate; `None` is open, or unknown without an upper one.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// The range expected to hold the optima of most new site-years.
    pub new_site_years: Option<[f64; 2]>,
    /// Site-years and plots that it rests on.
    pub support: Option<[u32; 2]>,
}

/// The rates of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct RateSteps {
    /// What the table is called in the legend.
    pub label: String,
    /// Its rows with a rate, by rising index.
    pub steps: Vec<Step>,
}

/// A figure of a table's rates, with those of an earlier one where there is one.
#[derive(Debug, Clone, PartialEq)]
pub struct RateFigure {
    /// Title of the index axis.
    pub index_label: String,
    /// Unit of the rates.
    pub rate_unit: String,
    /// The table.
    pub table: RateSteps,
    /// The earlier one.
    pub earlier: Option<RateSteps>,
    /// What the bars are.
    pub interval_text: String,
    /// What the boxes are.
    pub range_text: String,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
const HEIGHT: f64 = 70.0;
const EARLIER_DASH: [f64; 2] = [1.6, 1.0];
/// Where the bar of an interval stands in its row: alone, and each of two.
const ALONE: f64 = 0.5;
const EARLIER_SHARE: f64 = 0.36;
const TABLE_SHARE: f64 = 0.64;
/// What part of its row the box of a range takes.
const BOX_SHARE: f64 = 0.44;
const HALF_CAP: f64 = 0.7;

impl Description for RateFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.steps().next().is_none() {
            return Err(FigureError::Empty { what: "the figure of rates".to_owned() });
        }
        for (what, text) in [
            ("the index label", &self.index_label),
            ("the intervals' text", &self.interval_text),
            ("the ranges' text", &self.range_text),
        ] {
            check_text(what, text)?;
        }
        self.tables().try_for_each(|table| check_text("a table's label", &table.label))?;
        check_unit("the rate unit", Some(&self.rate_unit))?;
        for step in self.steps() {
            check_order("a row", step.from, step.below)?;
            check_numbers("a rate", [step.rate].into_iter().chain(step.low).chain(step.high))?;
            if let (Some(low), Some(high)) = (step.low, step.high) {
                check_order("an interval", low, high)?;
            }
            if let Some([low, high]) = step.new_site_years {
                check_order("the range of new site-years", low, high)?;
            }
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
        if self.earlier.is_some() { super::Width::DoubleColumn } else { super::Width::OneAndAHalfColumns }
    }
}

impl RateFigure {
    fn tables(&self) -> impl Iterator<Item = &RateSteps> + Clone {
        [&self.table].into_iter().chain(&self.earlier)
    }

    fn steps(&self) -> impl Iterator<Item = &Step> + Clone {
        self.tables().flat_map(|table| &table.steps)
    }
}

/// How far the axis goes, of the highest rate that is shown.
pub(super) const ABOVE: f64 = 1.06;

/// The highest rate that is shown: of rates and their intervals; a range of new site-years makes it twice as high at most, and is else cut.
pub(super) fn highest_shown<'s>(steps: impl Iterator<Item = &'s Step> + Clone) -> f64 {
    let rates = steps.clone().flat_map(|step| [Some(step.rate), step.high, step.low].into_iter().flatten());
    let [_, most] = axis::extent(rates.chain([0.0, 1.0]));
    let ranges = steps.filter_map(|step| step.new_site_years);
    ranges.map(|[_, high]| high.min(2.0 * most)).fold(most, f64::max)
}

fn lay_out(figure: &RateFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let [low, high] = axis::extent(figure.steps().flat_map(|step| [step.from, step.below]));
    let most = highest_shown(figure.steps());
    let rates = Scale { low: -0.02 * most, high: ABOVE * most, from: HEIGHT, to: 0.0 };
    let ticks = axis::ticks_up(&rates, 0.0, typeface);
    let title = typeface.wrap(&axis::with_unit("N rate", Some(&figure.rate_unit)), LARGE, HEIGHT);
    let left = EDGE + axis::width_before_line(title.len(), &ticks, typeface);
    let side = 0.03 * (high - low);
    let mut indices = Scale { low: low - side, high: high + side, from: left, to: width - EDGE };
    let index_ticks = axis::ticks_across(&indices, [indices.low, indices.high], typeface);
    indices.to -= axis::overhang(&index_ticks, &indices, typeface);
    let top = print_support(&mut scene, figure, &indices, typeface);
    let bottom = top + HEIGHT;
    let rates = Scale { from: bottom, to: top, ..rates };
    for step in &figure.table.steps {
        draw_range(&mut scene, step, &indices, &rates);
    }
    let earlier = figure.earlier.as_ref().map(|earlier| (earlier, BRICK, EARLIER_SHARE));
    let table = (&figure.table, SEA, if earlier.is_some() { TABLE_SHARE } else { ALONE });
    for (table, colour, share) in earlier.into_iter().chain([table]) {
        for step in &table.steps {
            bar(&mut scene, step, &indices, &rates, colour, share);
        }
    }
    for flight in figure.earlier.iter().flat_map(|earlier| stairs(&earlier.steps, &indices, &rates)) {
        scene.dashes(&flight, EARLIER_DASH, BOLD, BRICK);
    }
    for flight in stairs(&figure.table.steps, &indices, &rates) {
        scene.line(flight, 1.3 * BOLD, SEA);
    }
    axis::draw_across(&mut scene, &indices, bottom, &index_ticks, true, typeface);
    axis::draw_up(&mut scene, &rates, left, &ticks, true, typeface);
    axis::title_up(&mut scene, &title, EDGE, (top + bottom) / 2.0, typeface);
    let index_title = typeface.wrap(&figure.index_label, LARGE, width - EDGE - left);
    let middle = (left + indices.to) / 2.0;
    let end = axis::title_across(&mut scene, &index_title, middle, bottom + axis::depth_below() + 1.6, typeface);
    let end = legend::draw(&mut scene, &entries(figure), at(left, end + 2.2), width - left - EDGE, typeface);
    scene.height = end + EDGE;
    scene
}

/// Site-years and plots above their rows, with what they are; returns the top of the panel, mm. They are left out where rows are narrower
/// than a line of type is high.
fn print_support(scene: &mut Scene, figure: &RateFigure, indices: &Scale, typeface: &Typeface) -> f64 {
    let steps = &figure.table.steps;
    if steps.iter().all(|step| step.support.is_none()) {
        return EDGE;
    }
    let room =
        steps.iter().map(|step| indices.place(step.below) - indices.place(step.from)).fold(f64::INFINITY, f64::min);
    let numbers = |step: &Step| step.support.map(|support| support.map(|number| number.to_string()));
    let longest =
        steps.iter().filter_map(numbers).flatten().map(|number| typeface.length(&number, SMALL)).fold(0.0, f64::max);
    let upright = longest + 1.2 > room;
    if upright && 1.4 * capital_height(SMALL) > room {
        return EDGE;
    }
    let line = if upright { longest + 1.4 } else { line_height(SMALL) };
    let heads = if upright {
        "Above each row: site-years, below them plots"
    } else {
        "Site-years (upper) and plots (lower) of each row"
    };
    let mut top = EDGE;
    for head in typeface.wrap(heads, SMALL, indices.to - indices.from) {
        let place = at(indices.from, top + capital_height(SMALL));
        scene.text(&head, SMALL, typeface.length(&head, SMALL), Anchor::Start, place);
        top += line_height(SMALL);
    }
    for step in steps {
        let Some(numbers) = numbers(step) else { continue };
        let middle = (indices.place(step.from) + indices.place(step.below)) / 2.0;
        for (position, number) in numbers.iter().enumerate() {
            let from = top + position as f64 * line;
            let place = if upright {
                at(middle + capital_height(SMALL) / 2.0, from + line / 2.0)
            } else {
                at(middle, from + capital_height(SMALL) + 0.3)
            };
            scene.text(number, SMALL, typeface.length(number, SMALL), Anchor::Middle, place);
            if let Some(text) = scene.texts.last_mut().filter(|_| upright) {
                text.upright = true;
            }
        }
    }
    top + 2.0 * line + 1.0
}

/// The box of the range of new site-years, open where it leaves the axis.
fn draw_range(scene: &mut Scene, step: &Step, indices: &Scale, rates: &Scale) {
    let Some([low, high]) = step.new_site_years else { return };
    let at_share = |share: f64| indices.place(step.from + share * (step.below - step.from));
    let (left, right) = (at_share(0.5 - BOX_SHARE / 2.0), at_share(0.5 + BOX_SHARE / 2.0));
    let (foot, head) = (rates.clamped(low), rates.clamped(high));
    scene.rectangle(at(left, head), at(right, foot), MIST);
    for x in [left, right] {
        scene.line(vec![at(x, head), at(x, foot)], HAIR, STONE);
    }
    for (limit, y) in [(low, foot), (high, head)] {
        if (rates.low..=rates.high).contains(&limit) {
            scene.line(vec![at(left, y), at(right, y)], HAIR, STONE);
        }
    }
}

/// The outline of the rows: a line for each run of rows that touch.
fn stairs(steps: &[Step], indices: &Scale, rates: &Scale) -> Vec<Vec<Place>> {
    let mut flights: Vec<Vec<Place>> = Vec::new();
    let mut reached = f64::NAN;
    for step in steps {
        let ends = [step.from, step.below].map(|index| at(indices.place(index), rates.place(step.rate)));
        match flights.last_mut() {
            Some(flight) if reached == step.from => flight.extend(ends),
            _ => flights.push(ends.to_vec()),
        }
        reached = step.below;
    }
    flights
}

/// The interval of a row; an arrow where it is open or leaves the axis.
fn bar(scene: &mut Scene, step: &Step, indices: &Scale, rates: &Scale, colour: Colour, share: f64) {
    if step.low.is_none() && step.high.is_none() {
        return;
    }
    let x = indices.place(step.from + share * (step.below - step.from));
    let ends = [step.low.unwrap_or(f64::NEG_INFINITY), step.high.unwrap_or(f64::INFINITY)];
    let [from, to] = ends.map(|end| rates.clamped(end));
    scene.line(vec![at(x, from), at(x, to)], THIN, colour);
    for (end, y) in ends.into_iter().zip([from, to]) {
        if end < rates.low || end > rates.high {
            scene.arrow_head(at(x, y), (0.0, if end < rates.low { 1.0 } else { -1.0 }), colour);
        } else {
            scene.line(vec![at(x - HALF_CAP, y), at(x + HALF_CAP, y)], THIN, colour);
        }
    }
}

fn entries(figure: &RateFigure) -> Vec<Entry> {
    let across = |middle: Place| [at(middle.x - 3.2, middle.y), at(middle.x + 3.2, middle.y)];
    let mut entries = Vec::new();
    if let Some(earlier) = &figure.earlier {
        entries.push(Entry::new(earlier.label.as_str(), move |scene, middle| {
            scene.dashes(&across(middle), EARLIER_DASH, BOLD, BRICK);
        }));
    }
    entries.push(Entry::new(figure.table.label.as_str(), move |scene, middle| {
        scene.line(across(middle).to_vec(), 1.3 * BOLD, SEA);
    }));
    if figure.steps().any(|step| step.low.is_some() || step.high.is_some()) {
        entries.push(Entry::new(figure.interval_text.as_str(), |scene, middle| {
            let ends = [middle.y - 1.3, middle.y + 1.3];
            scene.line(ends.map(|y| at(middle.x, y)).to_vec(), THIN, INK);
            for y in ends {
                scene.line(vec![at(middle.x - HALF_CAP, y), at(middle.x + HALF_CAP, y)], THIN, INK);
            }
        }));
    }
    if figure.table.steps.iter().any(|step| step.new_site_years.is_some()) {
        entries.push(Entry::new(figure.range_text.as_str(), |scene, middle| legend::swatch(scene, middle, MIST)));
    }
    entries
}
