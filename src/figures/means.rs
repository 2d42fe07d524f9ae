//! Treatment means with letters, and interactions as lines: what a caller describes. The layout is in `layout`.

mod layout;
mod letters;
mod panel;

use super::panels::MOST_PANELS;
use super::scene::Scene;
use super::stroke::Stroke;
use super::typeface::Typeface;
use super::{Description, FigureError, Width, Words, check_number, check_order, check_text, check_unit};

/// The levels of a factor along an axis.
#[derive(Debug, Clone, PartialEq)]
pub enum Levels {
    /// Amounts, such as N rates in the rate unit: to scale, from zero.
    Amounts(Vec<f64>),
    /// Names: side by side.
    Names(Vec<String>),
}

impl Levels {
    pub(super) fn count(&self) -> usize {
        match self {
            Levels::Amounts(amounts) => amounts.len(),
            Levels::Names(names) => names.len(),
        }
    }
}

/// The mean at a level.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelMean {
    /// Position of the level along the axis.
    pub level: usize,
    /// The mean, in the yield unit.
    pub mean: f64,
    /// Its standard error; no bar where it is `None`.
    pub standard_error: Option<f64>,
    /// Letters that it shares with the means it does not differ from. May be empty.
    pub letters: String,
}

/// Means that belong together: all of a main effect, or those at one level of a second factor.
#[derive(Debug, Clone, PartialEq)]
pub struct MeansSeries {
    /// The level of the second factor; empty for a main effect.
    pub label: String,
    /// Means in the order of the levels; a level without plots is left out.
    pub means: Vec<LevelMean>,
}

/// A difference between means, drawn as a bar to hold against them.
#[derive(Debug, Clone, PartialEq)]
pub struct DifferenceBar {
    /// Its length, in the yield unit.
    pub length: f64,
    /// The words above the panel, such as "HSD 5.8 bu/ac".
    pub label: String,
}

/// One effect.
#[derive(Debug, Clone, PartialEq)]
pub struct MeansPanel {
    /// Title, such as "N rate, p < 0.001".
    pub title: String,
    /// What its own axis counts, with its unit.
    pub axis_label: String,
    /// Levels along that axis.
    pub levels: Levels,
    /// One series, or one a level of a second factor, at most twelve: these are joined by lines.
    pub series: Vec<MeansSeries>,
    /// At most two differences.
    pub bars: Vec<DifferenceBar>,
}

/// A figure of means, a panel each effect, all on one yield axis.
#[derive(Debug, Clone, PartialEq)]
pub struct MeansFigure {
    /// Unit of yields; `None` where the data declare none.
    pub yield_unit: Option<String>,
    /// The panels, in reading order.
    pub panels: Vec<MeansPanel>,
    /// The words that go with it.
    pub words: Words,
}

/// The most differences beside a panel.
const MOST_BARS: usize = 2;

impl Description for MeansFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.panels.is_empty() {
            return Err(FigureError::Empty { what: "the figure of means".to_owned() });
        }
        if self.panels.len() > MOST_PANELS {
            return Err(FigureError::TooManyPanels { count: self.panels.len(), most: MOST_PANELS });
        }
        check_unit("the yield unit", self.yield_unit.as_deref())?;
        self.panels.iter().enumerate().try_for_each(|(i, panel)| panel.validate(&format!("panel {}", i + 1)))
    }

    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene {
        layout::lay_out(self, width, typeface)
    }

    fn words(&self) -> &Words {
        &self.words
    }

    fn usual_width(&self) -> Width {
        if self.panels.len() == 1 { Width::SingleColumn } else { Width::DoubleColumn }
    }
}

impl MeansPanel {
    /// Whether lines join its means.
    fn is_interaction(&self) -> bool {
        self.series.len() > 1
    }

    fn means(&self) -> impl Iterator<Item = &LevelMean> {
        self.series.iter().flat_map(|series| &series.means)
    }

    fn validate(&self, name: &str) -> Result<(), FigureError> {
        let what = |part: &str| format!("{part} of {name}");
        if self.means().next().is_none() {
            return Err(FigureError::Empty { what: name.to_owned() });
        }
        if self.series.len() > Stroke::LINES {
            return Err(FigureError::TooManyLines { count: self.series.len(), most: Stroke::LINES });
        }
        if self.bars.len() > MOST_BARS {
            return Err(FigureError::TooManyLines { count: self.bars.len(), most: MOST_BARS });
        }
        check_text(&what("title"), &self.title)?;
        check_text(&what("the axis label"), &self.axis_label)?;
        match &self.levels {
            Levels::Amounts(amounts) => super::check_numbers(&what("an amount"), amounts.iter().copied())?,
            Levels::Names(names) => names.iter().try_for_each(|level| check_text(&what("a level's name"), level))?,
        }
        for series in &self.series {
            check_text(&what("a line's label"), &series.label)?;
            for mean in &series.means {
                check_number(&what("a mean"), mean.mean)?;
                check_order(&what("a standard error"), 0.0, mean.standard_error.unwrap_or(0.0))?;
                check_text(&what("letters"), &mean.letters)?;
                if mean.level >= self.levels.count() {
                    return Err(FigureError::Empty { what: what("the level of a mean") });
                }
            }
        }
        self.bars.iter().try_for_each(|bar| {
            check_order(&what("a difference"), 0.0, bar.length)?;
            check_text(&what("a difference's label"), &bar.label)
        })
    }
}
