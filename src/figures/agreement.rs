//! Two accounts of one thing, point by point, with the line on which they agree.

use super::axis::{self, Scale};
use super::calibration::Censoring;
use super::legend::{self, Entry};
use super::marker::Marker;
use super::scene::{Colour, HAIR, INK, Place, SEA, STONE, Scene, THIN, at};
use super::typeface::{LARGE, Typeface};
use super::{Description, FigureError, Words, check_number, check_numbers, check_text, check_unit};

/// One thing, by both accounts.
#[derive(Debug, Clone, PartialEq)]
pub struct AgreementPoint {
    /// By the account of the level axis.
    pub across: f64,
    /// By that of the upright axis.
    pub up: f64,
    /// Whether `across` is only a bound: an arrow to the left or to the right.
    pub censored: Censoring,
    /// What it is marked by; a position in [`AgreementFigure::groups`].
    pub group: usize,
}

/// A figure of two accounts in the same unit, on equal axes.
#[derive(Debug, Clone, PartialEq)]
pub struct AgreementFigure {
    /// Title of the level axis.
    pub across_label: String,
    /// Title of the upright axis.
    pub up_label: String,
    /// The unit of both; `None` where they have none.
    pub unit: Option<String>,
    /// What points are marked by.
    pub groups: Vec<String>,
    /// What the groups are called together, such as "site-years", where they are too many to be told apart.
    pub group_noun: String,
    /// The points.
    pub points: Vec<AgreementPoint>,
    /// A value marked on both axes, with what it is: a broken line from each.
    pub threshold: Option<(f64, String)>,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Length of the arrow of a bound, mm.
const ARROW: f64 = 3.4;
/// Empty space at each side of the data, as a share of their range.
const SIDE: f64 = 0.06;
/// Highest panel, mm.
const HIGHEST: f64 = 85.0;
/// The shorter axis spans at least this share of the longer.
const SHORTEST: f64 = 0.6;
/// Wider figures have the legend beside the panel, mm.
const BESIDE: f64 = 120.0;
/// So many groups have room in a legend below the panel.
const FEW_GROUPS: usize = 4;
const DASH: [f64; 2] = [0.8, 0.8];

impl Description for AgreementFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.points.is_empty() {
            return Err(FigureError::Empty { what: "the figure of agreement".to_owned() });
        }
        let labels = [&self.across_label, &self.up_label, &self.group_noun];
        labels.into_iter().chain(&self.groups).try_for_each(|text| check_text("a label", text))?;
        check_unit("the unit", self.unit.as_deref())?;
        for point in &self.points {
            check_numbers("a point", [point.across, point.up])?;
        }
        match &self.threshold {
            Some((value, words)) => {
                check_text("the threshold's words", words)?;
                check_number("the threshold", *value)
            }
            None => Ok(()),
        }
    }

    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene {
        lay_out(self, width, typeface)
    }

    fn words(&self) -> &Words {
        &self.words
    }

    /// Many groups want their legend beside the panel.
    fn usual_width(&self) -> super::Width {
        if self.groups.len() > FEW_GROUPS { super::Width::OneAndAHalfColumns } else { super::Width::SingleColumn }
    }
}

impl AgreementFigure {
    fn marker(&self, group: usize) -> Marker {
        Marker::of_group(group, self.groups.len())
    }

    fn has(&self, censored: Censoring) -> bool {
        self.points.iter().any(|point| point.censored == censored)
    }

    /// The ranges of the level and the upright axis, the shorter no less than a share of the longer.
    fn ranges(&self) -> [[f64; 2]; 2] {
        let threshold = || self.threshold.iter().map(|(value, _)| *value);
        let of = |account: fn(&AgreementPoint) -> f64| axis::extent(self.points.iter().map(account).chain(threshold()));
        let [across, up] = [of(|point| point.across), of(|point| point.up)];
        let longest = (across[1] - across[0]).max(up[1] - up[0]);
        let side = SIDE * longest;
        [across, up].map(|[low, high]| {
            let short = (SHORTEST * longest - (high - low)).max(0.0) / 2.0;
            [low - short - side, high + short + side]
        })
    }
}

fn lay_out(figure: &AgreementFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let beside = width >= BESIDE;
    let legends = [group_entries(figure), other_entries(figure)];
    let legend_width = if beside {
        legends.iter().map(|entries| legend::natural_width(entries, 0.36 * width, typeface)).fold(0.0, f64::max)
    } else {
        0.0
    };
    let right = width - EDGE - if beside { legend_width + 4.0 } else { 0.0 };
    let [level, upright] = figure.ranges();
    let [span_across, span_up] = [level, upright].map(|[low, high]| high - low);
    let title = |label: &str| axis::with_unit(label, figure.unit.as_deref());
    // What stands left of the panel depends a little on its height, and its height on what it leaves: once round is near enough, as the
    // panel is then made to fit.
    let margin = |height: f64| {
        let scale = Scale { low: upright[0], high: upright[1], from: height, to: 0.0 };
        let ticks = axis::ticks_up(&scale, upright[0], typeface);
        let lines = typeface.wrap(&title(&figure.up_label), LARGE, height);
        let labels = axis::longest_label(&ticks, typeface) + axis::LABEL_GAP + axis::TICK;
        (EDGE + axis::width_of_title_up(lines.len()) + labels, ticks, lines)
    };
    let height_within = |room: f64| (room / span_across * span_up).min(HIGHEST);
    let (first_left, ..) = margin(height_within(right - 16.0));
    let (left, up_ticks, up_title) = margin(height_within(right - first_left));
    // Both axes have the same scale, so that agreement lies at 45°.
    let per_mm = (span_across / (right - left)).max(span_up / HIGHEST);
    let mut across = Scale { low: level[0], high: level[1], from: left, to: left + span_across / per_mm };
    let across_ticks = axis::ticks_across(&across, level, typeface);
    let shrunk = 1.0 - axis::overhang(&across_ticks, &across, typeface) / (across.to - left);
    across.to = left + shrunk * (across.to - left);
    let (top, bottom) = (EDGE, EDGE + shrunk * span_up / per_mm);
    let up = Scale { low: upright[0], high: upright[1], from: bottom, to: top };
    draw_data(&mut scene, figure, &across, &up);
    axis::draw_across(&mut scene, &across, bottom, &across_ticks, true, typeface);
    axis::draw_up(&mut scene, &up, left, &up_ticks, true, typeface);
    axis::title_up(&mut scene, &up_title, EDGE, (top + bottom) / 2.0, typeface);
    let across_title = typeface.wrap(&title(&figure.across_label), LARGE, across.to - left);
    let middle = (left + across.to) / 2.0;
    let mut end = axis::title_across(&mut scene, &across_title, middle, bottom + axis::depth_below() + 1.6, typeface);
    let (x, mut next, most) = if beside {
        (left + span_across / per_mm + 4.0, top, legend_width + 0.01)
    } else {
        (left, end + 2.2, width - left - EDGE)
    };
    for entries in &legends {
        next = legend::draw(&mut scene, entries, at(x, next), most, typeface) + 1.0;
    }
    end = end.max(next);
    scene.height = end + EDGE / 2.0;
    scene
}

fn draw_data(scene: &mut Scene, figure: &AgreementFigure, across: &Scale, up: &Scale) {
    let [low, high] = [across.low.max(up.low), across.high.min(up.high)];
    if low < high {
        let ends = [low, high].map(|value| at(across.place(value), up.place(value)));
        scene.line(ends.to_vec(), THIN, SEA);
    }
    if let Some((value, _)) = &figure.threshold {
        let (x, y) = (across.place(*value), up.place(*value));
        scene.dashes(&[at(x, up.from), at(x, up.to)], DASH, HAIR, STONE);
        scene.dashes(&[at(across.from, y), at(across.to, y)], DASH, HAIR, STONE);
    }
    let place = |point: &AgreementPoint| at(across.place(point.across), up.place(point.up));
    // All arrows first, so that none crosses another point's marker.
    for point in &figure.points {
        let Place { x, y } = place(point);
        let colour = figure.marker(point.group).colour;
        match point.censored {
            Censoring::None => {}
            Censoring::AtMost => arrow(scene, [at(x, y), at((x - ARROW).max(across.from + 0.2), y)], colour),
            Censoring::AtLeast => arrow(scene, [at(x, y), at((x + ARROW).min(across.to), y)], colour),
        }
    }
    for point in &figure.points {
        figure.marker(point.group).draw_rimmed(scene, place(point));
    }
}

fn arrow(scene: &mut Scene, [from, tip]: [Place; 2], colour: Colour) {
    let way = if tip.x < from.x { -1.0 } else { 1.0 };
    scene.line(vec![from, at(tip.x - way, tip.y)], THIN, colour);
    scene.arrow_head(tip, (way, 0.0), colour);
}

fn group_entries(figure: &AgreementFigure) -> Vec<Entry> {
    let count = figure.groups.len();
    if count > Marker::GROUPS {
        let marker = figure.marker(0);
        let words = format!("{count} {}", figure.group_noun);
        return vec![Entry::new(words, move |scene, middle| marker.draw(scene, middle))];
    }
    let entry = |(group, name): (usize, &String)| {
        let marker = figure.marker(group);
        Entry::new(name.as_str(), move |scene, middle| marker.draw(scene, middle))
    };
    let is_used = |(group, _): &(usize, &String)| figure.points.iter().any(|point| point.group == *group);
    figure.groups.iter().enumerate().filter(is_used).map(entry).collect()
}

fn other_entries(figure: &AgreementFigure) -> Vec<Entry> {
    let mut entries = vec![Entry::new("both agree", |scene, Place { x, y }| {
        scene.line(vec![at(x - 2.2, y + 1.2), at(x + 2.2, y - 1.2)], THIN, SEA);
    })];
    if let Some((_, words)) = &figure.threshold {
        entries.push(Entry::new(words.as_str(), |scene, Place { x, y }| {
            scene.dashes(&[at(x - 3.2, y), at(x + 3.2, y)], DASH, HAIR, STONE);
        }));
    }
    let bounds = [(Censoring::AtMost, "at most", -1.0), (Censoring::AtLeast, "at least", 1.0)];
    for (_, words, way) in bounds.into_iter().filter(|(censored, ..)| figure.has(*censored)) {
        entries.push(Entry::new(words, move |scene, Place { x, y }| {
            arrow(scene, [at(x - 2.0 * way, y), at(x + 2.0 * way, y)], INK);
        }));
    }
    entries
}
