//! Readings against the N that was on: a panel for each instrument and day, and the spread of leaves within plots.

use super::axis::{self, Scale};
use super::legend::{self, Entry};
use super::marker::Marker;
use super::scene::{Anchor, Colour, INK, Place, Scene, THIN, at};
use super::typeface::{LARGE, Typeface, capital_height, line_height};
use super::{Description, FigureError, Words, check_number, check_numbers, check_text, check_unit};

/// The plots of one treatment: their mean reading, or the mean of what is drawn of each.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingMean {
    /// Position in [`ReadingFigure::varieties`].
    pub variety: usize,
    /// N already on.
    pub n_on: f64,
    /// Mean over the plots.
    pub mean: f64,
    /// Standard deviation of the plots; `None` for one plot, or where the panel shows the plots themselves.
    pub deviation: Option<f64>,
    /// Whether these are N-rich reference plots: drawn open.
    pub is_reference: bool,
}

/// What one instrument read on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingPanel {
    /// Title, such as "Leaf chlorophyll, 9 April 2025, Feekes 5".
    pub title: String,
    /// What the upright axis shows.
    pub quantity: String,
    /// Whether that axis begins at zero.
    pub from_zero: bool,
    /// Treatment means.
    pub means: Vec<ReadingMean>,
    /// Single plots as variety, N already on and value. Empty: means only.
    pub plots: Vec<(usize, f64, f64)>,
    /// A level drawn across: its variety, or `None` where it is of all, and its value.
    pub levels: Vec<(Option<usize>, f64)>,
    /// What the levels are, for the legend.
    pub level_text: String,
}

/// A figure of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingFigure {
    /// Unit of N rates; `None` where the data declare none.
    pub rate_unit: Option<String>,
    /// Varieties (with the levels of other factors); one empty name where nothing tells plots apart beside N.
    pub varieties: Vec<String>,
    /// The panels.
    pub panels: Vec<ReadingPanel>,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Space between panels side by side, and one below the other, mm.
const GAPS: [f64; 2] = [5.0, 4.0];
/// Wider figures have two panels side by side, mm.
const BESIDE: f64 = 120.0;
/// Height of a panel, and of many in one column, mm.
const HEIGHT: f64 = 42.0;
const LOW: f64 = 32.0;
/// Empty space at each side of the data, as a share of their range.
const SIDE: f64 = 0.08;
/// How far the varieties' means stand beside each other, mm.
const BESIDE_EACH_OTHER: f64 = 1.5;
const HALF_CAP: f64 = 0.6;
/// Most panels of one figure.
pub(super) const MOST_READING_PANELS: usize = 8;
/// Broken lines of the varieties, by turns.
const DASHES: [[f64; 2]; 4] = [[1.8, 0.8], [0.5, 0.7], [3.2, 1.0], [1.0, 1.6]];

impl Description for ReadingFigure {
    fn validate(&self) -> Result<(), FigureError> {
        let is_empty = |panel: &ReadingPanel| panel.means.is_empty() && panel.plots.is_empty();
        if self.panels.is_empty() || self.panels.iter().any(is_empty) {
            return Err(FigureError::Empty { what: "the figure of readings".to_owned() });
        }
        if self.panels.len() > MOST_READING_PANELS {
            return Err(FigureError::TooManyPanels { count: self.panels.len(), most: MOST_READING_PANELS });
        }
        check_unit("the rate unit", self.rate_unit.as_deref())?;
        self.varieties.iter().try_for_each(|variety| check_text("a variety", variety))?;
        for panel in &self.panels {
            check_text("a panel's title", &panel.title)?;
            check_text("a panel's quantity", &panel.quantity)?;
            check_text("what the lines are", &panel.level_text)?;
            for mean in &panel.means {
                check_numbers("a mean", [mean.n_on, mean.mean].into_iter().chain(mean.deviation))?;
            }
            check_numbers("a plot", panel.plots.iter().flat_map(|(_, n_on, value)| [*n_on, *value]))?;
            panel.levels.iter().try_for_each(|(_, level)| check_number("a level", *level))?;
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

impl ReadingFigure {
    fn marker(&self, variety: usize, is_reference: bool) -> Marker {
        let marker = Marker::of_group(variety, self.varieties.len());
        if is_reference { Marker { filled: false, size: 1.15 * marker.size, ..marker } } else { marker }
    }

    /// How far right of its rate a variety stands, mm.
    fn aside(&self, variety: usize) -> f64 {
        let count = self.varieties.len();
        let step = BESIDE_EACH_OTHER.min(6.0 / count.max(1) as f64);
        (variety.min(count) as f64 - (count.saturating_sub(1)) as f64 / 2.0) * step
    }

    /// A level of a variety is broken in that variety's way; one of all is whole.
    fn line(&self, variety: Option<usize>) -> LevelLine {
        match variety {
            Some(variety) => LevelLine {
                dash: DASHES.get(variety % DASHES.len()).copied(),
                colour: Marker::of_group(variety, self.varieties.len()).colour,
            },
            None => LevelLine { dash: None, colour: INK },
        }
    }

    fn rates(&self) -> impl Iterator<Item = f64> {
        self.panels.iter().flat_map(|panel| {
            panel.means.iter().map(|mean| mean.n_on).chain(panel.plots.iter().map(|(_, n_on, _)| *n_on))
        })
    }
}

/// How a level is drawn.
#[derive(Debug, Clone, Copy)]
struct LevelLine {
    dash: Option<[f64; 2]>,
    colour: Colour,
}

impl LevelLine {
    fn draw(self, scene: &mut Scene, [from, to]: [f64; 2], y: f64) {
        let ends = [at(from, y), at(to, y)];
        match self.dash {
            Some(dash) => scene.dashes(&ends, dash, THIN, self.colour),
            None => scene.line(ends.to_vec(), THIN, self.colour),
        }
    }
}

impl ReadingPanel {
    /// The upright axis, its places to be filled in: everything that is drawn.
    fn scale(&self) -> Scale {
        let means = self.means.iter().flat_map(|mean| {
            let deviation = mean.deviation.unwrap_or(0.0).abs();
            [mean.mean - deviation, mean.mean + deviation]
        });
        let others = self.plots.iter().map(|(_, _, value)| *value).chain(self.levels.iter().map(|(_, level)| *level));
        let [low, high] = axis::extent(means.chain(others).chain(self.from_zero.then_some(0.0)));
        let side = SIDE * (high - low);
        let foot = if self.from_zero && low >= 0.0 { 0.0 } else { side };
        Scale { low: low - foot, high: high + side, from: 1.0, to: 0.0 }
    }
}

fn lay_out(figure: &ReadingFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let columns = if width >= BESIDE && figure.panels.len() > 1 { 2 } else { 1 };
    let height = if columns == 1 && figure.panels.len() > 2 { LOW } else { HEIGHT };
    let column_width = (width - 2.0 * EDGE - (columns - 1) as f64 * GAPS[0]) / columns as f64;
    let [low, high] = axis::extent(figure.rates().chain([0.0]));
    let side = SIDE * (high - low);
    let rates = Scale { low: low - side, high: high + side, from: 0.0, to: 1.0 };
    let mut top = EDGE;
    let rate_title = axis::with_unit("N already on", figure.rate_unit.as_deref());
    for row in figure.panels.chunks(columns) {
        let titles: Vec<Vec<String>> =
            row.iter().map(|panel| typeface.wrap(&panel.title, LARGE, column_width)).collect();
        let lines = titles.iter().map(Vec::len).max().unwrap_or(0);
        let panel_top = top + lines as f64 * line_height(LARGE) + 0.5;
        let floor = panel_top + height;
        let mut bottom = floor;
        for (column, (panel, title)) in row.iter().zip(&titles).enumerate() {
            let x = EDGE + column as f64 * (column_width + GAPS[0]);
            for (position, line) in title.iter().enumerate() {
                let baseline = top + capital_height(LARGE) + position as f64 * line_height(LARGE);
                scene.text(line, LARGE, typeface.length(line, LARGE), Anchor::Start, at(x, baseline));
            }
            let up = Scale { from: floor, to: panel_top, ..panel.scale() };
            let up_ticks = axis::ticks_up(&up, up.low, typeface);
            let up_title = typeface.wrap(&panel.quantity, LARGE, height);
            let left = x
                + axis::width_of_title_up(up_title.len())
                + axis::longest_label(&up_ticks, typeface)
                + axis::LABEL_GAP
                + axis::TICK;
            let mut across = Scale { from: left, to: x + column_width, ..rates };
            let ticks = axis::ticks_across(&across, [low, high], typeface);
            across.to -= axis::overhang(&ticks, &across, typeface);
            draw_panel(&mut scene, figure, panel, &across, &up);
            axis::draw_across(&mut scene, &across, floor, &ticks, true, typeface);
            axis::draw_up(&mut scene, &up, left, &up_ticks, true, typeface);
            axis::title_up(&mut scene, &up_title, x, (panel_top + floor) / 2.0, typeface);
            let title = typeface.wrap(&rate_title, LARGE, across.to - left);
            let middle = (left + across.to) / 2.0;
            let end = axis::title_across(&mut scene, &title, middle, floor + axis::depth_below() + 1.6, typeface);
            bottom = bottom.max(end);
        }
        top = bottom + GAPS[1];
    }
    let entries = entries(figure);
    let end = legend::draw(&mut scene, &entries, at(EDGE, top - GAPS[1] + 2.4), width - 2.0 * EDGE, typeface);
    scene.height = end + EDGE / 2.0;
    scene
}

fn draw_panel(scene: &mut Scene, figure: &ReadingFigure, panel: &ReadingPanel, across: &Scale, up: &Scale) {
    for (variety, level) in &panel.levels {
        figure.line(*variety).draw(scene, [across.from, across.to], up.place(*level));
    }
    let place = |variety: usize, n_on: f64, value: f64| {
        let x = across.place(n_on) + figure.aside(variety);
        at(x.clamp(across.from + 0.5, across.to), up.place(value))
    };
    for (variety, n_on, value) in &panel.plots {
        let marker = Marker { filled: false, size: 0.55, ..figure.marker(*variety, false) };
        marker.draw(scene, place(*variety, *n_on, *value));
    }
    // Bars first, so that no bar crosses another mean's marker.
    for mean in &panel.means {
        let Some(deviation) = mean.deviation else { continue };
        let colour = figure.marker(mean.variety, false).colour;
        let ends = [mean.mean - deviation, mean.mean + deviation].map(|value| place(mean.variety, mean.n_on, value));
        scene.line(ends.to_vec(), THIN, colour);
        for Place { x, y } in ends {
            scene.line(vec![at(x - HALF_CAP, y), at(x + HALF_CAP, y)], THIN, colour);
        }
    }
    for mean in &panel.means {
        let middle = place(mean.variety, mean.n_on, mean.mean);
        if panel.plots.is_empty() {
            figure.marker(mean.variety, mean.is_reference).draw(scene, middle);
        } else {
            // Across the plots themselves a stroke shows their mean and hides none of them.
            scene.line(vec![at(middle.x - 1.3, middle.y), at(middle.x + 1.3, middle.y)], 1.4 * THIN, INK);
        }
    }
}

fn entries(figure: &ReadingFigure) -> Vec<Entry> {
    let mut entries = Vec::new();
    let means = || figure.panels.iter().filter(|panel| panel.plots.is_empty()).flat_map(|panel| &panel.means);
    let is_one = figure.varieties.len() == 1;
    if means().next().is_some() {
        if figure.varieties.len() > Marker::GROUPS {
            let marker = figure.marker(0, false);
            let words = format!("{} varieties or treatments beside N", figure.varieties.len());
            entries.push(Entry::new(words, move |scene, middle| marker.draw(scene, middle)));
        } else {
            for (variety, name) in figure.varieties.iter().enumerate() {
                let marker = figure.marker(variety, false);
                let words = if name.trim().is_empty() { "treatment mean" } else { name };
                entries.push(Entry::new(words, move |scene, middle| marker.draw(scene, middle)));
            }
        }
        if means().any(|mean| mean.is_reference) {
            let marker = figure.marker(0, true);
            let words = if is_one { "N-rich reference" } else { "open: N-rich reference" };
            entries.push(Entry::new(words, move |scene, middle| marker.draw(scene, middle)));
        }
    }
    if means().any(|mean| mean.deviation.is_some()) {
        entries.push(Entry::new("standard deviation of the plots", |scene, Place { x, y }| {
            scene.line(vec![at(x, y - 1.3), at(x, y + 1.3)], THIN, INK);
            for end in [y - 1.3, y + 1.3] {
                scene.line(vec![at(x - HALF_CAP, end), at(x + HALF_CAP, end)], THIN, INK);
            }
        }));
    }
    let mut told: Vec<&str> = Vec::new();
    for panel in &figure.panels {
        if panel.levels.is_empty() || told.contains(&panel.level_text.as_str()) {
            continue;
        }
        told.push(&panel.level_text);
        // One stroke each variety, as many as the height of a line holds.
        let lines: Vec<LevelLine> = panel.levels.iter().take(3).map(|(variety, _)| figure.line(*variety)).collect();
        entries.push(Entry::new(panel.level_text.as_str(), move |scene, Place { x, y }| {
            let first = y - 0.45 * (lines.len().saturating_sub(1)) as f64;
            for (position, line) in lines.iter().enumerate() {
                line.draw(scene, [x - 3.2, x + 3.2], first + 0.9 * position as f64);
            }
        }));
    }
    if figure.panels.iter().any(|panel| !panel.plots.is_empty()) {
        let marker = Marker { filled: false, size: 0.55, ..figure.marker(0, false) };
        entries.push(Entry::new("one plot", move |scene, middle| marker.draw(scene, middle)));
    }
    if figure.panels.iter().any(|panel| !panel.plots.is_empty() && !panel.means.is_empty()) {
        entries.push(Entry::new("mean of a treatment's plots", |scene, Place { x, y }| {
            scene.line(vec![at(x - 1.3, y), at(x + 1.3, y)], 1.4 * THIN, INK);
        }));
    }
    entries
}
