//! The rates of two tables by index: what a caller describes, and its layout.

use super::axis::{self, Scale};
use super::legend::{self, Entry};
use super::scene::{BOLD, BRICK, Colour, INK, Place, SEA, Scene, THIN, at};
use super::typeface::{LARGE, Typeface};
use super::{Description, FigureError, Words, check_numbers, check_order, check_text, check_unit};
use crate::rate_table::{Document, RateTable};

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
}

/// A figure of two tables' rates.
#[derive(Debug, Clone, PartialEq)]
pub struct ComparisonFigure {
    /// Title of the index axis.
    pub index_label: String,
    /// Unit of the rates.
    pub rate_unit: String,
    /// What the old table is called in the legend.
    pub old_label: String,
    /// What the new one is.
    pub new_label: String,
    /// The old table's rows with a rate, by rising index.
    pub old: Vec<Step>,
    /// The new one's.
    pub new: Vec<Step>,
    /// What the bars are.
    pub interval_text: String,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
const HEIGHT: f64 = 70.0;
const OLD_DASH: [f64; 2] = [1.6, 1.0];
/// Where the bar of an interval stands in its row.
const OLD_SHARE: f64 = 0.38;
const NEW_SHARE: f64 = 0.62;
const HALF_CAP: f64 = 0.7;

impl Description for ComparisonFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.old.is_empty() && self.new.is_empty() {
            return Err(FigureError::Empty { what: "the comparison".to_owned() });
        }
        for (what, text) in [
            ("the index label", &self.index_label),
            ("the old table's label", &self.old_label),
            ("the new table's label", &self.new_label),
            ("the intervals' text", &self.interval_text),
        ] {
            check_text(what, text)?;
        }
        check_unit("the rate unit", Some(&self.rate_unit))?;
        for step in self.old.iter().chain(&self.new) {
            check_order("a row", step.from, step.below)?;
            check_numbers("a rate", [step.rate].into_iter().chain(step.low).chain(step.high))?;
            if let (Some(low), Some(high)) = (step.low, step.high) {
                check_order("an interval", low, high)?;
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
}

impl ComparisonFigure {
    /// The figure of two tables at their base price ratios.
    #[must_use]
    pub fn of(old: &RateTable, new: &RateTable) -> ComparisonFigure {
        let (before, after) = (old.document(), new.document());
        let label = |which: &str, document: &Document| {
            let years = || document.site_years.iter().map(|one| one.harvest_year);
            format!(
                "{which}: {}, harvests {} to {}, price ratio {:.4}",
                document.name,
                years().min().unwrap_or_default(),
                years().max().unwrap_or_default(),
                base_ratio(document),
            )
        };
        let level = after.settings.level;
        let percent = (level * 1000.0).round() / 10.0;
        let title = format!("N rate by sufficiency index in two rate tables for {}", after.crop);
        let caption = format!(
            "N rate by sufficiency index in two rate tables for {}, at their base price ratios. Steps: the tables' rows. Bars: {percent} % \
                 intervals of the return-maximising rate over site-years, before limits and rounding; as the tables share site-years, \
                 bars that overlap do not mean that the rates don't differ.",
            after.crop
        );
        let (old, new) = (steps(before), steps(after));
        let finding = finding(&old, &new, &after.rate_unit);
        ComparisonFigure {
            index_label: format!("Sufficiency index, {}", after.instrument.name().replace('-', " ")),
            rate_unit: after.rate_unit.clone(),
            old_label: label("old", before),
            new_label: label("new", after),
            old,
            new,
            interval_text: format!("{percent} % interval of the return-maximising rate"),
            words: Words { title, caption, finding },
        }
    }

    fn all(&self) -> impl Iterator<Item = &Step> {
        self.old.iter().chain(&self.new)
    }
}

/// The rates of both tables by row, in words.
fn finding(old: &[Step], new: &[Step], unit: &str) -> String {
    let rates = |steps: &[Step]| {
        let row = |step: &Step| format!("{} from an index of {}", step.rate, step.from);
        if steps.is_empty() { "none".to_owned() } else { steps.iter().map(row).collect::<Vec<_>>().join(", ") }
    };
    format!("Rates in {unit}. Old table: {}. New table: {}.", rates(old), rates(new))
}

fn base_ratio(document: &Document) -> f64 {
    document.prices.iter().find(|price| price.base).map_or(f64::NAN, |price| price.price_ratio)
}

fn steps(document: &Document) -> Vec<Step> {
    let base = document.prices.iter().position(|price| price.base).unwrap_or(0);
    let rows = document.rows.iter().filter_map(|row| {
        let cell = row.rates.get(base)?;
        let interval = cell.interval.as_ref().map(|noted| &noted.interval);
        Some(Step {
            from: f64::from(row.index_from) / 1000.0,
            below: f64::from(row.index_below) / 1000.0,
            rate: cell.rate?,
            low: interval.and_then(|interval| interval.low),
            high: interval.and_then(|interval| interval.high),
        })
    });
    rows.collect()
}

fn lay_out(figure: &ComparisonFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let [low, high] = axis::extent(figure.all().flat_map(|step| [step.from, step.below]));
    let [_, most] = axis::extent(
        figure.all().flat_map(|step| [Some(step.rate), step.high, step.low].into_iter().flatten()).chain([0.0, 1.0]),
    );
    let (top, bottom) = (EDGE, EDGE + HEIGHT);
    let rates = Scale { low: -0.02 * most, high: 1.06 * most, from: bottom, to: top };
    let ticks = axis::ticks_up(&rates, 0.0, typeface);
    let title = typeface.wrap(&axis::with_unit("N rate", Some(&figure.rate_unit)), LARGE, HEIGHT);
    let left = EDGE
        + axis::width_of_title_up(title.len())
        + axis::longest_label(&ticks, typeface)
        + axis::LABEL_GAP
        + axis::TICK;
    let side = 0.03 * (high - low);
    let mut indices = Scale { low: low - side, high: high + side, from: left, to: width - EDGE };
    let index_ticks = axis::ticks_across(&indices, [indices.low, indices.high], typeface);
    indices.to -= axis::overhang(&index_ticks, &indices, typeface);
    let [old, new] = [(&figure.old, BRICK, OLD_SHARE), (&figure.new, SEA, NEW_SHARE)];
    for (steps, colour, share) in [old, new] {
        for step in steps {
            bar(&mut scene, step, &indices, &rates, colour, share);
        }
    }
    let [dashed, solid] = [&figure.old, &figure.new].map(|steps| stairs(steps, &indices, &rates));
    for flight in dashed {
        scene.dashes(&flight, OLD_DASH, BOLD, BRICK);
    }
    for flight in solid {
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

fn entries(figure: &ComparisonFigure) -> Vec<Entry> {
    let across = |middle: Place| [at(middle.x - 3.2, middle.y), at(middle.x + 3.2, middle.y)];
    let mut entries = vec![
        Entry::new(figure.old_label.as_str(), move |scene, middle| {
            scene.dashes(&across(middle), OLD_DASH, BOLD, BRICK);
        }),
        Entry::new(figure.new_label.as_str(), move |scene, middle| {
            scene.line(across(middle).to_vec(), 1.3 * BOLD, SEA);
        }),
    ];
    if figure.all().any(|step| step.low.is_some() || step.high.is_some()) {
        entries.push(Entry::new(figure.interval_text.as_str(), |scene, middle| {
            let ends = [middle.y - 1.3, middle.y + 1.3];
            scene.line(ends.map(|y| at(middle.x, y)).to_vec(), THIN, INK);
            for y in ends {
                scene.line(vec![at(middle.x - HALF_CAP, y), at(middle.x + HALF_CAP, y)], THIN, INK);
            }
        }));
    }
    entries
}
