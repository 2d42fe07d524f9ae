//! N need against the index of a reading: what a caller describes, and its layout.

use super::axis::{self, Scale};
use super::legend::{self, Entry};
use super::marker::Marker;
use super::response::check_rising;
use super::scene::{BOLD, BRICK, Colour, HAIR, INK, MIST, PLUM, Place, SAND, SEA, STONE, Scene, THIN, at, thinned};
use super::typeface::{LARGE, Typeface};
use super::{Description, FigureError, Words, check_number, check_numbers, check_order, check_text, check_unit};

/// What is known of an N need that lies outside the tested rates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Censoring {
    /// The need is known.
    #[default]
    None,
    /// The need is at most the value given: an arrow down.
    AtMost,
    /// The need is at least the value given: an arrow up.
    AtLeast,
}

/// The need of one treatment or site-year at one index.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationPoint {
    /// Index: reading divided by its N-rich reference.
    pub index: f64,
    /// N need, in the need unit.
    pub need: f64,
    /// Lower limit of its interval; `None` with an upper limit is open.
    pub low: Option<f64>,
    /// Upper limit of its interval; `None` with a lower limit is open. With both `None` no interval is drawn.
    pub high: Option<f64>,
    /// The site-year it belongs to; points are marked by it.
    pub site_year: String,
    /// Whether the need is a bound.
    pub censored: Censoring,
}

/// The band of the relation at one index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndexBand {
    /// Index.
    pub index: f64,
    /// Lower limit, in the need unit.
    pub low: f64,
    /// Upper limit, in the need unit.
    pub high: f64,
}

/// An index with its interval.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedIndex {
    /// The index.
    pub index: f64,
    /// Lower limit; `None` is open, or unknown without an upper one.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// What it is, with its numbers, for the legend.
    pub label: String,
}

/// A figure of one relation between index and N need.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationFigure {
    /// Title of the index axis, such as "Sufficiency index, leaf chlorophyll".
    pub index_label: String,
    /// Unit of N need, such as "lb/ac"; `None` where the data declare none.
    pub need_unit: Option<String>,
    /// The points.
    pub points: Vec<CalibrationPoint>,
    /// The relation as (index, need), indices rising. Empty: none.
    pub relation: Vec<[f64; 2]>,
    /// Name of the relation for the legend, such as "linear relation".
    pub relation_label: String,
    /// Band of the relation, indices rising. Empty: none.
    pub band: Vec<IndexBand>,
    /// What the band is, for the legend.
    pub band_text: String,
    /// What the points' intervals are, for the legend.
    pub interval_text: String,
    /// Lowest and highest index that the relation holds for.
    pub domain: [f64; 2],
    /// Lowest and highest index of the rate table made from it.
    pub table_range: Option<[f64; 2]>,
    /// The index that parts what needs N from what does not.
    pub critical: Option<MarkedIndex>,
    /// The words that go with it.
    pub words: Words,
}

/// Clear paper round the figure, mm.
const EDGE: f64 = 1.5;
/// Length of the arrow of a bound, mm.
const ARROW: f64 = 4.0;
const ZERO_DASH: [f64; 2] = [0.8, 0.8];
/// Room above the points for the interval of the critical index, mm.
const CRITICAL_STRIP: f64 = 2.4;
const CRITICAL_DASH: [f64; 2] = [2.6, 0.9];

impl Description for CalibrationFigure {
    fn validate(&self) -> Result<(), FigureError> {
        if self.points.is_empty() {
            return Err(FigureError::Empty { what: "the calibration figure".to_owned() });
        }
        for (what, text) in [
            ("the index label", &self.index_label),
            ("the relation's label", &self.relation_label),
            ("the band's text", &self.band_text),
            ("the intervals' text", &self.interval_text),
        ] {
            check_text(what, text)?;
        }
        check_unit("the need unit", self.need_unit.as_deref())?;
        for point in &self.points {
            check_text("a site-year", &point.site_year)?;
            check_numbers("a point", [point.index, point.need])?;
            check_numbers("a limit", point.low.into_iter().chain(point.high))?;
            if let (Some(low), Some(high)) = (point.low, point.high) {
                check_order("an interval", low, high)?;
            }
        }
        check_numbers("the relation", self.relation.iter().flatten().copied())?;
        check_rising("the relation", self.relation.iter().map(|[index, _]| *index))?;
        for point in &self.band {
            check_number("the band", point.index)?;
            check_order("the band", point.low, point.high)?;
        }
        check_rising("the band", self.band.iter().map(|point| point.index))?;
        check_order("the domain", self.domain[0], self.domain[1])?;
        if let Some([low, high]) = self.table_range {
            check_order("the table's range", low, high)?;
        }
        if let Some(critical) = &self.critical {
            check_text("the critical index", &critical.label)?;
            check_numbers("the critical index", [critical.index].into_iter().chain(critical.low).chain(critical.high))?;
            if let (Some(low), Some(high)) = (critical.low, critical.high) {
                check_order("the interval of the critical index", low, high)?;
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

impl CalibrationFigure {
    /// Site-years in the order of their first point.
    fn site_years(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for point in &self.points {
            if !names.contains(&point.site_year.as_str()) {
                names.push(&point.site_year);
            }
        }
        names
    }

    fn index_range(&self) -> [f64; 2] {
        let [low, high] = axis::extent(
            self.points
                .iter()
                .map(|point| point.index)
                .chain(self.relation.iter().map(|[index, _]| *index))
                .chain(self.band.iter().map(|point| point.index))
                .chain(self.domain)
                .chain(self.table_range.into_iter().flatten())
                .chain(self.critical.iter().map(|critical| critical.index)),
        );
        let side = 0.06 * (high - low);
        [low - side, high + side]
    }

    /// The need axis: zero, points and relation; intervals and band widen it by half and a fifth at most, and are cut.
    fn need_scale(&self, height: f64, strip: f64) -> Scale {
        let core =
            self.points.iter().map(|point| point.need).chain(self.relation.iter().map(|[_, need]| *need)).chain([0.0]);
        let [low, high] = axis::extent(core);
        let widened = |share: f64, limits: &mut dyn Iterator<Item = f64>| {
            let spare = share * (high - low);
            limits.fold([low, high], |[least, most], limit| {
                let limit = limit.clamp(low - spare, high + spare);
                [least.min(limit), most.max(limit)]
            })
        };
        let [a, b] = widened(0.5, &mut self.points.iter().flat_map(|point| point.low.into_iter().chain(point.high)));
        let [c, d] = widened(0.2, &mut self.band.iter().flat_map(|point| [point.low, point.high]));
        let (bottom, top) = (a.min(c), b.max(d));
        let (head, foot) = (
            if self.arrows(Censoring::AtLeast) { ARROW + 1.0 } else { 2.0 }
                + if self.critical.is_some() { CRITICAL_STRIP } else { 0.0 },
            strip + if self.arrows(Censoring::AtMost) { ARROW } else { 1.0 },
        );
        let per_mm = (top - bottom) / (height - head - foot);
        Scale { low: bottom - foot * per_mm, high: top + head * per_mm, from: height, to: 0.0 }
    }

    fn arrows(&self, kind: Censoring) -> bool {
        self.points.iter().any(|point| open_ends(point).contains(&kind))
    }
}

/// The directions in which a point is only a bound or its interval is open.
fn open_ends(point: &CalibrationPoint) -> Vec<Censoring> {
    let mut ends = Vec::new();
    if point.censored == Censoring::AtMost || (point.low.is_none() && point.high.is_some()) {
        ends.push(Censoring::AtMost);
    }
    if point.censored == Censoring::AtLeast || (point.high.is_none() && point.low.is_some()) {
        ends.push(Censoring::AtLeast);
    }
    ends
}

fn lay_out(figure: &CalibrationFigure, width: f64, typeface: &Typeface) -> Scene {
    let mut scene = Scene { width, ..Scene::default() };
    let beside = width >= 120.0;
    // Two legends: names of site-years are often shorter than the rest and then stand in more columns.
    let legends = [site_year_entries(figure), other_entries(figure)];
    let legend_width = if beside {
        legends.iter().map(|entries| legend::natural_width(entries, 0.32 * width, typeface)).fold(0.0, f64::max)
    } else {
        0.0
    };
    let room = width - 2.0 * EDGE - if beside { legend_width + 4.0 } else { 0.0 };
    let height = (0.66 * room).clamp(50.0, 80.0);
    let strip = if figure.table_range.is_some() { 3.5 } else { 0.0 };
    let needs = figure.need_scale(height, strip);
    let need_ticks = axis::ticks_up(&needs, needs.low, typeface);
    let need_title = typeface.wrap(&axis::with_unit("N need", figure.need_unit.as_deref()), LARGE, height);
    let left = EDGE
        + axis::width_of_title_up(need_title.len())
        + axis::longest_label(&need_ticks, typeface)
        + axis::LABEL_GAP
        + axis::TICK;
    let right = EDGE + room;

    let top = EDGE;
    let bottom = top + height;
    let [index_low, index_high] = figure.index_range();
    let mut indices = Scale { low: index_low, high: index_high, from: left, to: right };
    let index_ticks = axis::ticks_across(&indices, [index_low, index_high], typeface);
    indices.to -= axis::overhang(&index_ticks, &indices, typeface);
    let needs = Scale { from: bottom, to: top, ..needs };
    draw_data(&mut scene, figure, &indices, &needs);
    axis::draw_across(&mut scene, &indices, bottom, &index_ticks, true, typeface);
    axis::draw_up(&mut scene, &needs, left, &need_ticks, true, typeface);
    axis::title_up(&mut scene, &need_title, EDGE, (top + bottom) / 2.0, typeface);
    let index_title = typeface.wrap(&figure.index_label, LARGE, right - left);
    let mut end = axis::title_across(
        &mut scene,
        &index_title,
        (left + right) / 2.0,
        bottom + axis::depth_below() + 1.6,
        typeface,
    );
    let (x, mut next, most) = if beside {
        // A hair wider than measured, so that rounding does not break a line.
        (right + 4.0, top, legend_width + 0.01)
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

fn draw_data(scene: &mut Scene, figure: &CalibrationFigure, indices: &Scale, needs: &Scale) {
    let [low, high] = figure.domain.map(|index| indices.clamped(index));
    for (outer, edge) in [(indices.from, low), (indices.to, high)] {
        scene.rectangle(at(outer, needs.to), at(edge, needs.from), SAND);
        // In grey the sand is close to the band; its edge is not.
        scene.line(vec![at(edge, needs.to), at(edge, needs.from)], HAIR, STONE);
    }
    if figure.band.len() > 1 {
        let edge = |index: f64, need: f64| at(indices.clamped(index), needs.clamped(need));
        let upper = figure.band.iter().map(|point| edge(point.index, point.high));
        let lower = figure.band.iter().rev().map(|point| edge(point.index, point.low));
        let outline: Vec<Place> = upper.chain(lower).collect();
        scene.area(thinned(&outline), MIST);
    }
    let zero = needs.place(0.0);
    scene.dashes(&[at(indices.from, zero), at(indices.to, zero)], ZERO_DASH, HAIR, STONE);
    let relation: Vec<Place> =
        figure.relation.iter().map(|[index, need]| at(indices.place(*index), needs.place(*need))).collect();
    if relation.len() > 1 {
        scene.curve(&relation, BOLD, SEA);
    }
    if let Some(critical) = &figure.critical {
        let x = indices.place(critical.index);
        scene.dashes(&[at(x, needs.to), at(x, needs.from)], CRITICAL_DASH, 0.8 * BOLD, BRICK);
        draw_critical_interval(scene, critical, indices, needs.to + 1.2);
    }
    let names = figure.site_years();
    let marked: Vec<(&CalibrationPoint, Marker)> = figure
        .points
        .iter()
        .map(|point| {
            let group = names.iter().position(|name| *name == point.site_year);
            (point, Marker::of_group(group.unwrap_or(0), names.len()))
        })
        .collect();
    // All bars first, so that no bar crosses another point's marker.
    for (point, marker) in &marked {
        draw_limits(scene, point, indices.place(point.index), needs, marker.colour);
    }
    for (point, marker) in &marked {
        marker.draw(scene, at(indices.place(point.index), needs.place(point.need)));
    }
    if let Some(range) = figure.table_range {
        let [from, to] = range.map(|index| indices.clamped(index));
        bracket(scene, from, to, needs.from - 1.6);
    }
}

/// The interval of the critical index, level; an arrow where it is open or leaves the axis.
fn draw_critical_interval(scene: &mut Scene, critical: &MarkedIndex, indices: &Scale, y: f64) {
    if critical.low.is_none() && critical.high.is_none() {
        return;
    }
    let ends = [critical.low.unwrap_or(f64::NEG_INFINITY), critical.high.unwrap_or(f64::INFINITY)];
    let places = ends.map(|end| at(indices.clamped(end), y));
    scene.line(places.to_vec(), THIN, BRICK);
    for ((end, place), way) in ends.into_iter().zip(places).zip([-1.0, 1.0]) {
        if end < indices.low || end > indices.high {
            scene.arrow_head(place, (way, 0.0), BRICK);
        } else {
            scene.line(vec![at(place.x, y - 0.7), at(place.x, y + 0.7)], THIN, BRICK);
        }
    }
}

/// The interval of a point, and arrows where the need is only a bound.
fn draw_limits(scene: &mut Scene, point: &CalibrationPoint, x: f64, needs: &Scale, colour: Colour) {
    let y = needs.place(point.need);
    for limit in point.low.into_iter().chain(point.high) {
        let end = needs.clamped(limit);
        scene.line(vec![at(x, y), at(x, end)], THIN, colour);
        if limit < needs.low || limit > needs.high {
            let down = if limit < needs.low { 1.0 } else { -1.0 };
            scene.arrow_head(at(x, end), (0.0, down), colour);
        } else {
            scene.line(vec![at(x - 0.6, end), at(x + 0.6, end)], THIN, colour);
        }
    }
    for end in open_ends(point) {
        let down = if end == Censoring::AtMost { 1.0 } else { -1.0 };
        let tip = (y + down * ARROW).max(needs.to + 0.2).min(needs.from - 0.2);
        scene.line(vec![at(x, y), at(x, tip - down)], THIN, colour);
        scene.arrow_head(at(x, tip), (0.0, down), colour);
    }
}

fn bracket(scene: &mut Scene, from: f64, to: f64, y: f64) {
    scene.line(vec![at(from, y - 0.9), at(from, y), at(to, y), at(to, y - 0.9)], BOLD, PLUM);
}

fn site_year_entries(figure: &CalibrationFigure) -> Vec<Entry> {
    let names = figure.site_years();
    let count = names.len();
    let mut entries = Vec::new();
    if count > Marker::GROUPS {
        entries.push(Entry::new(format!("{count} site-years"), move |scene, middle| {
            Marker::of_group(0, count).draw(scene, middle);
        }));
    } else {
        for (group, name) in names.into_iter().enumerate() {
            entries.push(Entry::new(name, move |scene, middle| {
                Marker::of_group(group, count).draw(scene, middle);
            }));
        }
    }
    entries
}

fn other_entries(figure: &CalibrationFigure) -> Vec<Entry> {
    let mut entries = Vec::new();
    let intervals = figure.points.iter().any(|point| point.low.is_some() || point.high.is_some());
    if intervals && !figure.interval_text.trim().is_empty() {
        entries.push(Entry::new(figure.interval_text.as_str(), |scene, middle| {
            let ends = [middle.y - 1.3, middle.y + 1.3];
            scene.line(ends.map(|y| at(middle.x, y)).to_vec(), THIN, INK);
            for y in ends {
                scene.line(vec![at(middle.x - 0.6, y), at(middle.x + 0.6, y)], THIN, INK);
            }
        }));
    }
    for (kind, words, down) in [
        (Censoring::AtLeast, "at least; not bounded above", -1.0),
        (Censoring::AtMost, "at most; not bounded below", 1.0),
    ] {
        if figure.arrows(kind) {
            entries.push(Entry::new(words, move |scene, middle| {
                let (tail, tip) = (middle.y - 1.3 * down, middle.y + 1.3 * down);
                scene.line(vec![at(middle.x, tail), at(middle.x, tip - down)], THIN, INK);
                scene.arrow_head(at(middle.x, tip), (0.0, down), INK);
            }));
        }
    }
    if figure.relation.len() > 1 && !figure.relation_label.trim().is_empty() {
        entries.push(Entry::new(figure.relation_label.as_str(), |scene, middle| {
            scene.line(vec![at(middle.x - 3.2, middle.y), at(middle.x + 3.2, middle.y)], BOLD, SEA);
        }));
    }
    if figure.band.len() > 1 && !figure.band_text.trim().is_empty() {
        entries.push(Entry::new(figure.band_text.as_str(), |scene, middle| {
            legend::swatch(scene, middle, MIST);
        }));
    }
    if let Some(critical) = &figure.critical {
        entries.push(Entry::new(critical.label.as_str(), |scene, middle| {
            let ends = [at(middle.x - 3.2, middle.y), at(middle.x + 3.2, middle.y)];
            scene.dashes(&ends, CRITICAL_DASH, 0.8 * BOLD, BRICK);
        }));
    }
    entries.push(Entry::new("outside the calibrated domain", |scene, middle| {
        legend::swatch(scene, middle, SAND);
    }));
    if figure.table_range.is_some() {
        entries.push(Entry::new("range of the rate table", |scene, middle| {
            bracket(scene, middle.x - 3.0, middle.x + 3.0, middle.y + 0.5);
        }));
    }
    entries
}
