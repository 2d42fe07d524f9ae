//! Yield against N rate: what a caller describes. The layout is in `layout`.

mod layout;
mod panel;

use super::panels::{self, MOST_PANELS};
use super::scene::Scene;
use super::stroke::Stroke;
use super::typeface::Typeface;
use super::{Description, FigureError, Width, Words, check_number, check_numbers, check_order, check_text, check_unit};

/// A treatment mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanPoint {
    /// N rate, in the rate unit.
    pub rate: f64,
    /// Mean yield, in the yield unit.
    pub mean: f64,
    /// Standard error of the mean, in the yield unit; no bar where it is `None`.
    pub standard_error: Option<f64>,
}

/// The confidence band of a curve at one rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    /// N rate, in the rate unit.
    pub rate: f64,
    /// Lower limit, in the yield unit.
    pub low: f64,
    /// Upper limit, in the yield unit.
    pub high: f64,
}

/// How the curve is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CurveLine {
    /// A fitted response: a solid line.
    #[default]
    Response,
    /// No response was shown: a broken line, and the panel says *response not shown*.
    NotShown,
}

/// A rate to be marked: an optimum or a join, with its interval.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedRate {
    /// What it is, for the legend: "EONR", "AONR", "join".
    pub name: String,
    /// The rate; `None` where only a bound is known, and then only the interval is drawn.
    pub rate: Option<f64>,
    /// Lower limit of its interval; `None` is open.
    pub low: Option<f64>,
    /// Upper limit of its interval; `None` is open. With both limits `None` no interval is drawn.
    pub high: Option<f64>,
    /// The words above the panel, such as "EONR 100 lb/ac (93 to 108)". May be empty.
    pub label: String,
}

/// A further curve in the panel of a response, for comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct OverlaidCurve {
    /// Which of the line patterns it has, below [`OverlaidCurve::LINES`]: the same in every panel.
    pub line: usize,
    /// Its words above the panel, such as "quadratic, ΔAICc 1.3".
    pub label: String,
    /// The curve as (rate, yield), rates rising.
    pub points: Vec<[f64; 2]>,
}

impl OverlaidCurve {
    /// How many patterns there are.
    pub const LINES: usize = Stroke::LINES;
}

/// One response: a trial, or one variety, or one level of another factor.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponsePanel {
    /// Title of the panel; usually `None` where there is only one.
    pub title: Option<String>,
    /// Plots as (rate, yield).
    pub plots: Vec<[f64; 2]>,
    /// Treatment means.
    pub means: Vec<MeanPoint>,
    /// The fitted curve as (rate, yield), rates rising, dense enough to look smooth. Empty: no curve.
    pub curve: Vec<[f64; 2]>,
    /// Solid, or broken for a response that was not shown.
    pub curve_line: CurveLine,
    /// Name of the curve for the legend, such as "quadratic-plateau".
    pub curve_label: String,
    /// Confidence band, rates rising. Empty: no band.
    pub band: Vec<BandPoint>,
    /// Further curves, thinner than the fitted one and each with a pattern of its own. Where any panel has some, every panel names its
    /// curves.
    pub others: Vec<OverlaidCurve>,
    /// Lowest and highest rate tested. A limit beyond them is drawn as an arrow.
    pub tested: [f64; 2],
    /// The optimum rate.
    pub optimum: Option<MarkedRate>,
    /// The join of a plateau curve.
    pub join: Option<MarkedRate>,
}

/// A figure of responses on shared axes.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponsePanels {
    /// What the rate axis counts, such as "N rate" or "Topdress N rate".
    pub rate_name: String,
    /// Unit of N rate, such as "lb/ac"; `None` where the data declare none.
    pub rate_unit: Option<String>,
    /// Unit of yield, such as "bu/ac"; `None` where the data declare none.
    pub yield_unit: Option<String>,
    /// Confidence level of the bands, between 0 and 1.
    pub band_level: f64,
    /// The panels, in reading order.
    pub panels: Vec<ResponsePanel>,
    /// The words that go with it.
    pub words: Words,
}

impl Description for ResponsePanels {
    fn validate(&self) -> Result<(), FigureError> {
        if self.panels.is_empty() {
            return Err(FigureError::Empty { what: "the response figure".to_owned() });
        }
        if self.panels.len() > MOST_PANELS {
            return Err(FigureError::TooManyPanels { count: self.panels.len(), most: MOST_PANELS });
        }
        if !(self.band_level > 0.0 && self.band_level < 1.0) {
            return Err(FigureError::NotDrawable {
                what: "the level of the band (between 0 and 1)".to_owned(),
                value: self.band_level.to_string(),
            });
        }
        check_text("the rate axis's name", &self.rate_name)?;
        check_unit("the rate unit", self.rate_unit.as_deref())?;
        check_unit("the yield unit", self.yield_unit.as_deref())?;
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

impl ResponsePanel {
    fn validate(&self, name: &str) -> Result<(), FigureError> {
        if self.plots.is_empty() && self.means.is_empty() {
            return Err(FigureError::Empty { what: name.to_owned() });
        }
        check_text(&format!("title of {name}"), self.title.as_deref().unwrap_or(""))?;
        check_text(&format!("curve label of {name}"), &self.curve_label)?;
        let what = |part: &str| format!("{part} of {name}");
        check_numbers(&what("a plot"), self.plots.iter().flatten().copied())?;
        check_numbers(&what("the curve"), self.curve.iter().flatten().copied())?;
        for mean in &self.means {
            let error = mean.standard_error.unwrap_or(0.0);
            check_numbers(&what("a mean"), [mean.rate, mean.mean, error])?;
            check_order(&what("a standard error"), 0.0, error)?;
        }
        for point in &self.band {
            check_number(&what("the band"), point.rate)?;
            check_order(&what("the band"), point.low, point.high)?;
        }
        let rates = self.curve.iter().map(|[rate, _]| *rate);
        check_rising(&what("the curve"), rates)?;
        check_rising(&what("the band"), self.band.iter().map(|point| point.rate))?;
        for other in &self.others {
            check_text(&what("a further curve's label"), &other.label)?;
            check_numbers(&what("a further curve"), other.points.iter().flatten().copied())?;
            check_rising(&what("a further curve"), other.points.iter().map(|[rate, _]| *rate))?;
            check_line(other.line)?;
        }
        check_order(&what("the tested range"), self.tested[0], self.tested[1])?;
        for marked in self.optimum.iter().chain(&self.join) {
            check_text(&what("a marked rate's name"), &marked.name)?;
            check_text(&what("a marked rate's label"), &marked.label)?;
            check_numbers(&what("a marked rate"), marked.rate)?;
            check_numbers(&what("a limit"), marked.low.into_iter().chain(marked.high))?;
            if let (Some(low), Some(high)) = (marked.low, marked.high) {
                check_order(&what("an interval"), low, high)?;
            }
        }
        Ok(())
    }
}

/// Refuses a line that has no pattern of its own.
fn check_line(line: usize) -> Result<(), FigureError> {
    if line < Stroke::LINES { Ok(()) } else { Err(FigureError::TooManyLines { count: line + 1, most: Stroke::LINES }) }
}

/// Refuses numbers that fall.
pub(super) fn check_rising(what: &str, values: impl Iterator<Item = f64> + Clone) -> Result<(), FigureError> {
    values.clone().zip(values.skip(1)).try_for_each(|(before, after)| check_order(what, before, after))
}
