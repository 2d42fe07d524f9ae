//! Residuals of an analysis of variance: against what was fitted, in field order, and against normal scores.

use super::axis::{self, Scale, Tick};
use super::legend::{self, Entry};
use super::marker::{Form, Marker};
use super::scene::{BOLD, BRICK, HAIR, INK, Place, SEA, STONE, Scene, at};
use super::typeface::{LARGE, Typeface};
use super::{Description, FigureError, Wording, Words, check_numbers, check_text, check_unit};
use crate::experiment::anova::{Analysis, PlotResidual};

/// One plot.
#[derive(Debug, Clone, PartialEq)]
pub struct ResidualPoint {
    /// What it is called.
    pub name: String,
    /// What the analysis gives for it, in yield units.
    pub fitted: f64,
    /// Observed minus fitted.
    pub residual: f64,
    /// The normal score of its rank.
    pub normal_score: f64,
    /// Whether it lies further out than chance would put one.
    pub outlier: bool,
}

/// A figure of residuals.
#[derive(Debug, Clone, PartialEq)]
pub struct ResidualFigure {
    /// Unit of yields, such as "bu/ac"; `None` where the data declare none.
    pub yield_unit: Option<String>,
    /// The plots in field order.
    pub points: Vec<ResidualPoint>,
    /// Residual for each unit of normal score that a normal distribution of the same spread has; `None`: no line.
    pub normal_slope: Option<f64>,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Space between panels side by side, mm.
const GAP: f64 = 5.0;
/// Space between panels one below the other, mm.
const ROW_GAP: f64 = 3.0;
/// Empty space at each side of the data, as a share of their range.
const SIDE: f64 = 0.06;
/// Wider figures have their panels side by side, mm.
const BESIDE: f64 = 120.0;
/// Neighbours of more plots than this are not joined by a line: it would be a thicket.
const MOST_JOINED: usize = 150;
const ZERO_DASH: [f64; 2] = [0.8, 0.8];
const PLOT: Marker = Marker { form: Form::Circle, filled: false, size: 0.7, colour: INK };
const OUTLIER: Marker = Marker { form: Form::Diamond, filled: true, size: 1.1, colour: BRICK };

/// What the residuals stand against.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Against {
    Fitted,
    Order,
    Normal,
}

const PANELS: [Against; 3] = [Against::Fitted, Against::Order, Against::Normal];

impl Description for ResidualFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.points.is_empty() {
            return Err(FigureError::Empty { what: "the figure of residuals".to_owned() });
        }
        check_unit("the yield unit", self.yield_unit.as_deref())?;
        for point in &self.points {
            check_text("a plot's name", &point.name)?;
            check_numbers("a residual", [point.fitted, point.residual, point.normal_score])?;
        }
        check_numbers("the slope of the normal line", self.normal_slope)
    }

    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene {
        lay_out(self, width, typeface)
    }

    fn words(&self) -> &Words {
        &self.words
    }
}

impl ResidualFigure {
    /// The residuals of an analysis; `None` where it leaves no error.
    #[must_use]
    pub fn of(analysis: &Analysis, name: &str, wording: &Wording) -> Option<Self> {
        let assumptions = analysis.assumptions.as_ref()?;
        let outlier = |name: &str| assumptions.outliers.iter().any(|outlier| outlier.name == name);
        let point = |of: &PlotResidual| ResidualPoint {
            name: of.name.clone(),
            fitted: wording.yields(of.fitted),
            residual: wording.yields(of.residual),
            normal_score: of.normal_score,
            outlier: outlier(&of.name),
        };
        let points: Vec<ResidualPoint> = assumptions.residuals.iter().map(point).collect();
        let squares: f64 = points.iter().map(|point| point.normal_score.powi(2)).sum();
        let products: f64 = points.iter().map(|point| point.normal_score * point.residual).sum();
        let normality = assumptions.normality.map_or_else(String::new, |test| {
            let [w, p] = [test.w, test.p].map(|value| wording.number(value, 3));
            format!(" Shapiro–Wilk test of normality: W = {w}, p = {p}.")
        });
        let caption = format!(
            "Residuals of the analysis of variance of {name} ({}, {} plots): against the fitted yields, in field order, and against \
             normal scores. Residual: yield minus fitted; blocks, main plots and all treatment effects are in what is fitted. Line of \
             the right panel: a normal distribution that spreads like the residuals.{normality} No plot is removed.",
            analysis.design,
            points.len(),
        );
        let far = points.iter().filter(|point| point.outlier).count();
        let [low, high] = axis::extent(points.iter().map(|point| point.residual));
        let finding = format!(
            "Residuals of {} plots from {} to {}; {}.{normality}",
            points.len(),
            wording.number(low, wording.yield_decimals()),
            wording.yield_text(high),
            if far == 0 {
                "none lies further out than chance".to_owned()
            } else {
                format!("{far} further out than chance")
            },
        );
        let title = format!("Residuals of the analysis of variance, {name}");
        Some(Self {
            yield_unit: analysis.yield_unit.as_ref().map(|_| wording.yield_unit().to_owned()),
            normal_slope: (squares > 0.0).then(|| products / squares),
            points,
            words: Words { title, caption, finding },
        })
    }

    /// Each plot's place along the axis of a panel.
    fn across(&self, against: Against) -> Vec<f64> {
        let place = |(position, point): (usize, &ResidualPoint)| match against {
            Against::Fitted => point.fitted,
            Against::Order => (position + 1) as f64,
            Against::Normal => point.normal_score,
        };
        self.points.iter().enumerate().map(place).collect()
    }

    fn title(&self, against: Against) -> String {
        match against {
            Against::Fitted => axis::with_unit("Fitted yield", self.yield_unit.as_deref()),
            Against::Order => "Plots in field order".to_owned(),
            Against::Normal => "Normal score".to_owned(),
        }
    }
}

/// A scale with room at both sides of the data; places are filled in by the caller.
fn scale([low, high]: [f64; 2]) -> Scale {
    let side = SIDE * (high - low);
    Scale { low: low - side, high: high + side, from: 0.0, to: 1.0 }
}

fn lay_out(figure: &ResidualFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let columns = if width >= BESIDE { PANELS.len() } else { 1 };
    let height = if columns == 1 { 0.5 * width } else { 0.3 * width };
    let residuals = scale(axis::extent(figure.points.iter().map(|point| point.residual).chain([0.0])));
    let up = Scale { from: height, to: 0.0, ..residuals };
    let up_ticks = axis::ticks_up(&up, up.low, typeface);
    let up_title = typeface.wrap(&axis::with_unit("Residual", figure.yield_unit.as_deref()), LARGE, height);
    let left = EDGE
        + axis::width_of_title_up(up_title.len())
        + axis::longest_label(&up_ticks, typeface)
        + axis::LABEL_GAP
        + axis::TICK;
    let room = width - left - EDGE - (columns - 1) as f64 * GAP;
    let panel_width = room / columns as f64;
    let mut top = EDGE;
    let mut bottom = top;
    for (row, members) in PANELS.chunks(columns).enumerate() {
        if row > 0 {
            top = bottom + ROW_GAP;
        }
        let floor = top + height;
        let up = Scale { from: floor, to: top, ..residuals };
        for (column, against) in members.iter().enumerate() {
            let x = left + column as f64 * (panel_width + GAP);
            let range = axis::extent(figure.across(*against));
            let mut across = Scale { from: x, to: x + panel_width, ..scale(range) };
            let ticks = whole(axis::ticks_across(&across, range, typeface), *against);
            across.to -= axis::overhang(&ticks, &across, typeface);
            draw_data(&mut scene, figure, *against, &across, &up);
            axis::draw_across(&mut scene, &across, floor, &ticks, true, typeface);
            axis::draw_up(&mut scene, &up, x, &up_ticks, column == 0, typeface);
            let title = typeface.wrap(&figure.title(*against), LARGE, panel_width);
            let end = axis::title_across(
                &mut scene,
                &title,
                x + panel_width / 2.0,
                floor + axis::depth_below() + 1.6,
                typeface,
            );
            bottom = bottom.max(end);
        }
        axis::title_up(&mut scene, &up_title, EDGE, (top + floor) / 2.0, typeface);
    }
    let bottom = legend::draw(&mut scene, &entries(figure), at(left, bottom + 2.2), width - left - EDGE, typeface);
    scene.height = bottom + EDGE / 2.0;
    scene
}

/// Ticks at whole plots only.
fn whole(ticks: Vec<Tick>, against: Against) -> Vec<Tick> {
    let fits = |tick: &Tick| against != Against::Order || (tick.value - tick.value.round()).abs() < 1e-6;
    ticks.into_iter().filter(fits).collect()
}

fn draw_data(scene: &mut Scene, figure: &ResidualFigure, against: Against, across: &Scale, up: &Scale) {
    let zero = up.place(0.0);
    scene.dashes(&[at(across.from, zero), at(across.to, zero)], ZERO_DASH, HAIR, STONE);
    let places: Vec<Place> = figure
        .across(against)
        .into_iter()
        .zip(&figure.points)
        .map(|(x, point)| at(across.place(x), up.place(point.residual)))
        .collect();
    if against == Against::Order && places.len() <= MOST_JOINED {
        scene.line(places.clone(), HAIR, STONE);
    }
    if let Some(slope) = figure.normal_slope.filter(|slope| against == Against::Normal && *slope > 0.0) {
        // From edge to edge of the panel, whichever edge comes first.
        let low = across.low.max(up.low / slope);
        let high = across.high.min(up.high / slope);
        let ends = [low, high].map(|score| at(across.place(score), up.place(slope * score)));
        scene.line(ends.to_vec(), BOLD, SEA);
    }
    let drawn = |outliers: bool| {
        places.iter().zip(&figure.points).filter(move |(_, point)| point.outlier == outliers).map(|(place, _)| *place)
    };
    for place in drawn(false) {
        PLOT.draw(scene, place);
    }
    for place in drawn(true) {
        OUTLIER.draw(scene, place);
    }
}

fn entries(figure: &ResidualFigure) -> Vec<Entry> {
    let mut entries = Vec::new();
    if figure.points.iter().any(|point| !point.outlier) {
        entries.push(Entry::new("plot", |scene, middle| PLOT.draw(scene, middle)));
    }
    let outliers: Vec<&str> =
        figure.points.iter().filter(|point| point.outlier).map(|point| point.name.as_str()).collect();
    if !outliers.is_empty() {
        let words = format!("further out than chance: {}", outliers.join(", "));
        entries.push(Entry::new(words, |scene, middle| OUTLIER.draw(scene, middle)));
    }
    if figure.normal_slope.is_some_and(|slope| slope > 0.0) {
        entries.push(Entry::new("normal distribution", |scene, Place { x, y }| {
            scene.line(vec![at(x - 3.2, y), at(x + 3.2, y)], BOLD, SEA);
        }));
    }
    entries
}
