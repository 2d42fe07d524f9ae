//! Panels of responses on shared axes: what they hold, and their legend.

use super::panel::{self, Naming};
use super::{CurveLine, MarkedRate, ResponsePanel, ResponsePanels};
use crate::figures::axis::{self, Scale};
use crate::figures::legend::{self, Entry};
use crate::figures::panels::{self, Frame, HeaderLine, Panels};
use crate::figures::scene::{INK, MIST, Scene, THIN};
use crate::figures::typeface::Typeface;

impl Panels for ResponsePanels {
    fn count(&self) -> usize {
        self.panels.len()
    }

    fn axis_titles(&self) -> [String; 2] {
        [
            axis::with_unit(&self.rate_name, self.rate_unit.as_deref()),
            axis::with_unit("Yield", self.yield_unit.as_deref()),
        ]
    }

    fn range_across(&self) -> [f64; 2] {
        rate_range(&self.panels)
    }

    fn scale_up(&self, height: f64) -> Scale {
        yield_scale(&self.panels, height, panel::strip(&self.panels))
    }

    fn lowest_tick(&self) -> f64 {
        self.panels.iter().flat_map(panel::core_yields).fold(0.0, f64::min)
    }

    fn header(&self, panel: usize, width: f64, typeface: &Typeface) -> Vec<HeaderLine> {
        let naming = naming(self);
        self.panels.get(panel).map_or_else(Vec::new, |panel| panel::header(panel, naming, width, typeface))
    }

    fn draw(&self, panel: usize, frame: &Frame, scene: &mut Scene) {
        if let Some(panel) = self.panels.get(panel) {
            panel::draw(scene, panel, frame);
        }
    }

    fn entries(&self, typeface: &Typeface) -> Vec<Entry> {
        legend_entries(self, typeface)
    }
}

/// From zero to the highest rate of any panel.
fn rate_range(panels: &[ResponsePanel]) -> [f64; 2] {
    axis::extent(
        panels
            .iter()
            .flat_map(|panel| {
                let others = panel.others.iter().flat_map(|other| &other.points);
                let plots = panel.plots.iter().chain(&panel.curve).chain(others).map(|[rate, _]| *rate);
                let means = panel.means.iter().map(|mean| mean.rate);
                plots.chain(means).chain(panel.tested)
            })
            .chain([0.0]),
    )
}

/// The yield scale of all panels, with `strip` mm kept free at the bottom for marked rates.
fn yield_scale(panels: &[ResponsePanel], height: f64, strip: f64) -> Scale {
    let [low, high] = axis::extent(panels.iter().flat_map(panel::core_yields));
    // A band may run off to any height; it widens the axis by a fifth at most and is cut at the frame.
    let spare = 0.2 * (high - low);
    let [band_low, band_high] = panels
        .iter()
        .flat_map(|panel| &panel.band)
        .fold([low, high], |[low, high], point| [low.min(point.low), high.max(point.high)]);
    let bottom = band_low.max(low - spare);
    let top = band_high.min(high + spare);
    panels::scale_with_room([bottom, top], low, height, [strip, 1.5])
}

fn naming(figure: &ResponsePanels) -> Naming {
    if has_others(figure) {
        Naming::Overlaid
    } else if shared_curve_label(figure).is_none() {
        Naming::Single
    } else {
        Naming::Shared
    }
}

fn has_others(figure: &ResponsePanels) -> bool {
    figure.panels.iter().any(|panel| !panel.others.is_empty())
}

/// The curve's name where all panels share it.
fn shared_curve_label(figure: &ResponsePanels) -> Option<&str> {
    let mut labels = figure
        .panels
        .iter()
        .filter(|panel| !panel.curve.is_empty() && panel.curve_line == CurveLine::Response)
        .map(|panel| panel.curve_label.as_str());
    let first = labels.next()?;
    labels.all(|label| label == first).then_some(first)
}

fn legend_entries(figure: &ResponsePanels, typeface: &Typeface) -> Vec<Entry> {
    let panels = &figure.panels;
    let mut entries = Vec::new();
    if panels.iter().any(|panel| !panel.plots.is_empty()) {
        entries.push(Entry::new("plot", |scene, middle| {
            panel::PLOT.draw(scene, middle);
        }));
    }
    if panels.iter().any(|panel| !panel.means.is_empty()) {
        let bars = panels.iter().flat_map(|panel| &panel.means).any(|mean| mean.standard_error.is_some());
        let words = if bars { "treatment mean ± SE" } else { "treatment mean" };
        entries.push(Entry::new(words, move |scene, middle| {
            if bars {
                scene.bar_up(middle.x, [middle.y - 1.4, middle.y + 1.4], THIN, INK);
            }
            panel::MEAN.draw(scene, middle);
        }));
    }
    let fitted = |line| panels.iter().any(|panel| !panel.curve.is_empty() && panel.curve_line == line);
    if fitted(CurveLine::Response) {
        let shared = shared_curve_label(figure).filter(|label| !label.trim().is_empty());
        let words = if has_others(figure) { "curve of the optimum" } else { shared.unwrap_or("fitted curve") };
        entries.push(Entry::new(words, |scene, middle| {
            panel::curve_key(scene, middle, CurveLine::Response);
        }));
    }
    if fitted(CurveLine::NotShown) {
        entries.push(Entry::new("mean; response not shown", |scene, middle| {
            panel::curve_key(scene, middle, CurveLine::NotShown);
        }));
    }
    if panels.iter().any(|panel| !panel.band.is_empty()) {
        let percent = typeface.percentage(figure.band_level);
        entries.push(Entry::new(format!("{percent} % confidence band"), |scene, middle| {
            legend::swatch(scene, middle, MIST)
        }));
    }
    let optima = || panels.iter().filter_map(|panel| panel.optimum.as_ref());
    let joins = || panels.iter().filter_map(|panel| panel.join.as_ref());
    if let Some(words) = marked_words(optima) {
        let interval = optima().any(has_interval);
        entries.push(Entry::new(words, move |scene, middle| {
            panel::optimum_key(scene, middle, interval);
        }));
    }
    if let Some(words) = marked_words(joins) {
        let interval = joins().any(has_interval);
        entries.push(Entry::new(words, move |scene, middle| {
            panel::join_key(scene, middle, interval);
        }));
    }
    entries
}

pub(super) fn has_interval(marked: &MarkedRate) -> bool {
    marked.low.is_some() || marked.high.is_some()
}

/// The distinct names of marked rates, and whether their interval is drawn.
fn marked_words<'a, I: Iterator<Item = &'a MarkedRate>>(marked: impl Fn() -> I) -> Option<String> {
    let mut names: Vec<&str> = Vec::new();
    for one in marked() {
        if !names.contains(&one.name.as_str()) {
            names.push(&one.name);
        }
    }
    if names.is_empty() {
        return None;
    }
    let names = names.join(", ");
    Some(if marked().any(has_interval) { format!("{names} and interval") } else { names })
}
