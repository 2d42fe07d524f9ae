//! The figures of a season, described from its results in the units that they are to be shown in.

mod all_trials;
mod calibration;
mod families;
mod groups;
mod leaf_canopy;
mod maps;
mod means;
mod net_return;
mod price_response;
mod rates;
mod readings;
mod residuals;
mod response;
mod validation;

use jiff::civil::Date;
use rayon::prelude::*;

pub use rates::rate_figure;

use super::{Card, Figure, FigureError, Rendered, Style, Width, Wording, render, render_card};
use crate::experiment::anova::Analysed;
use crate::finding::{Finding, Place};
use crate::season::{Season, Sensing};
use crate::trial::Instrument;

/// Points of a drawn curve: at 175 mm and 300 dots per inch a panel is about 900 dots wide.
const CURVE_POINTS: usize = 241;

/// A figure and the name of its files.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedFigure {
    /// Name without an ending.
    pub name: String,
    /// The figure.
    pub figure: Figure,
}

/// A figure as drawn, and the name of its files.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnFigure {
    /// Name without an ending.
    pub name: String,
    /// The figure.
    pub rendered: Rendered,
}

/// What the figures of a season are described from.
#[derive(Clone, Copy)]
struct Material<'a> {
    season: &'a Season,
    analysed: &'a [Analysed],
    wording: &'a Wording,
}

/// Every figure of a season with its analyses of variance, by kind and then in the order of its trials and tables. What has nothing to
/// show has no figure.
#[must_use]
pub fn season_figures(season: &Season, analysed: &[Analysed], wording: &Wording) -> Vec<NamedFigure> {
    let material = Material { season, analysed, wording };
    let kinds: &[fn(Material<'_>) -> Vec<NamedFigure>] = &[
        response::figures,
        all_trials::figures,
        families::figures,
        net_return::figures,
        price_response::figures,
        means::figures,
        residuals::figures,
        maps::figures,
        readings::figures,
        leaf_canopy::figures,
        calibration::figures,
        validation::agreements,
        validation::forgone,
        rates::figures,
    ];
    kinds.iter().flat_map(|figures| figures(material)).collect()
}

/// Draws figures, each as wide as it is made for where no width is given.
///
/// A figure that cannot be drawn is left out, with a warning that says why.
#[must_use]
pub fn draw_figures(figures: &[NamedFigure], width: Option<Width>, style: &Style) -> (Vec<DrawnFigure>, Vec<Finding>) {
    let draw = |named: &NamedFigure| {
        let style = Style { width: width.unwrap_or_else(|| named.figure.usual_width()), ..*style };
        (named.name.clone(), render(&named.figure, &style))
    };
    let all: Vec<(String, Result<Rendered, FigureError>)> = figures.par_iter().map(draw).collect();
    let (mut drawn, mut left_out) = (Vec::new(), Vec::new());
    for (name, outcome) in all {
        match outcome {
            Ok(rendered) => drawn.push(DrawnFigure { name, rendered }),
            Err(error) => {
                let place = Place::file(format!("figures/{name}.svg"));
                let text = format!("the figure cannot be drawn: {error}");
                left_out.push(Finding::warning("figure-left-out", place, text));
            }
        }
    }
    (drawn, left_out)
}

/// The card of every table of a season, with the table's name.
///
/// A card that does not fit on its page is left out, with a warning that says why.
#[must_use]
pub fn season_cards(season: &Season) -> (Vec<(String, Card)>, Vec<Finding>) {
    let (mut cards, mut left_out) = (Vec::new(), Vec::new());
    for (result, table) in season.tables.iter().filter_map(|result| Some((result, result.derived.table.as_ref().ok()?)))
    {
        let name = &result.specification.name;
        match render_card(table) {
            Ok(card) => cards.push((name.clone(), card)),
            Err(error) => {
                let place = Place::file(format!("tables/{name}.card.svg"));
                left_out.push(Finding::warning("card-left-out", place, format!("there is no card: {error}")));
            }
        }
    }
    (cards, left_out)
}

/// A share as a percentage.
fn percent(level: f64, wording: &Wording) -> String {
    let tenths = (level * 1_000.0).round();
    wording.number(tenths / 10.0, usize::from(tenths % 10.0 != 0.0))
}

/// What an instrument reads, in running text.
fn instrument_name(instrument: Instrument) -> &'static str {
    match instrument {
        Instrument::CanopyNdvi => "canopy NDVI",
        Instrument::LeafChlorophyll => "leaf chlorophyll",
    }
}

/// The same at the beginning of a title.
fn instrument_title(instrument: Instrument) -> &'static str {
    match instrument {
        Instrument::CanopyNdvi => "Canopy NDVI",
        Instrument::LeafChlorophyll => "Leaf chlorophyll",
    }
}

/// A day as it is said.
fn day(date: Date) -> String {
    date.strftime("%-d\u{a0}%B\u{a0}%Y").to_string()
}

/// The growth stage that most plots of a sensing were scored at; of as many the earliest in their order.
fn stage_of(sensing: &Sensing) -> Option<String> {
    let mut stages: Vec<(String, usize)> = Vec::new();
    for stage in sensing.indices.iter().filter_map(|read| read.reading.stage.as_ref()) {
        let name = stage.to_string();
        match stages.iter_mut().find(|(other, _)| *other == name) {
            Some((_, count)) => *count += 1,
            None => stages.push((name, 1)),
        }
    }
    let most = stages.iter().map(|(_, count)| *count).max()?;
    stages.into_iter().find(|(_, count)| *count == most).map(|(name, _)| name)
}

/// `name` for the first page, `name-2` for the second.
fn page_name(name: &str, position: usize) -> String {
    if position == 0 { name.to_owned() } else { format!("{name}-{}", position + 1) }
}

/// A probability as papers write it.
fn p_text(p: f64, wording: &Wording) -> String {
    if p < 0.001 { format!("p < {}", wording.number(0.001, 3)) } else { format!("p = {}", wording.number(p, 3)) }
}
