//! A rate table on one page, for the cab: what it is for, what to do, the rates large and what is known of them small.

use super::card_words::{CardWords, RowWords};
use super::pdf;
use super::scene::{Anchor, Colour, HAIR, INK, MIST, SAND, STONE, Scene, at};
use super::typeface::{Typeface, WIDER_FALLBACK, capital_height, line_height};
use super::{DecimalMark, FigureError, Words, svg};
use crate::rate_table::RateTable;

/// A card as vector files; the same table gives the same bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    /// The SVG document.
    pub svg: String,
    /// The PDF document, its font embedded.
    pub pdf: Vec<u8>,
}

/// As wide as A4 and as high as US Letter: at its own size it prints on both.
const PAGE: [f64; 2] = [210.0, 279.4];
/// Printers leave so much of a sheet white, and a hole is punched in it, mm.
const MARGIN: f64 = 15.0;
/// Sizes of type at full size, points.
const TITLE: f64 = 19.0;
const BODY: f64 = 9.0;
const NOTE: f64 = 7.5;
/// Nothing on the page is smaller, points.
const SMALLEST: f64 = 7.0;
/// The page is set smaller and smaller until it fits.
const SHRINK: [f64; 6] = [1.0, 0.95, 0.9, 0.85, 0.8, 0.75];
/// Lowest and highest height of a row, mm, at full size.
const ROW: [f64; 2] = [5.2, 12.0];
/// Columns of other price ratios are as wide as this, mm; those that don't fit are in the table's file.
const PRICE_COLUMN: f64 = 14.0;
/// Most of the large figures' height that a row gives them.
const FIGURE_SHARE: f64 = 0.5;

/// Draws the card of a rate table.
///
/// # Errors
/// [`FigureError::PageTooSmall`] where its rows and words don't fit on one page.
pub fn render_card(table: &RateTable) -> Result<Card, FigureError> {
    let typeface = Typeface::load(DecimalMark::Point)?;
    let words = CardWords::of(table);
    let scene = lay_out(&words, &typeface)?;
    let title = format!("{}: {}", words.title, words.subtitle);
    let pdf = pdf::write(&scene, &title, &typeface)?;
    Ok(Card { svg: svg::write(&scene, &Words { title, ..Words::default() })?, pdf })
}

/// The page, as large as it fits.
pub(super) fn lay_out(words: &CardWords, typeface: &Typeface) -> Result<Scene, FigureError> {
    let lowest = PAGE[1] - MARGIN;
    for size in SHRINK {
        let [row, highest_row] = ROW.map(|height| height * size);
        let bottom = Pen::new(typeface, size).draw(words, row);
        if bottom.at > lowest {
            continue;
        }
        let spare = (lowest - bottom.at) / words.rows.len().max(1) as f64;
        let mut pen = Pen::new(typeface, size).draw(words, (row + spare).min(highest_row));
        pen.footer(&words.footer);
        return Ok(pen.scene);
    }
    Err(FigureError::PageTooSmall { rows: words.rows.len() })
}

/// Where the next line goes.
struct Pen<'t> {
    scene: Scene,
    typeface: &'t Typeface,
    /// Of full size.
    size: f64,
    /// Bottom of what is drawn, mm.
    at: f64,
}

/// Left edges of a table's columns, mm, and what stands in them.
struct Columns {
    rate: f64,
    interval: Option<f64>,
    new_site_years: Option<f64>,
    prices: Vec<f64>,
    support: f64,
    end: f64,
}

impl<'t> Pen<'t> {
    fn new(typeface: &'t Typeface, size: f64) -> Self {
        let scene = Scene { width: PAGE[0], height: PAGE[1], ..Scene::default() };
        Pen { scene, typeface, size, at: MARGIN }
    }

    fn draw(mut self, words: &CardWords, row_height: f64) -> Self {
        self.block(&words.title, TITLE, MARGIN);
        self.gap(0.8);
        self.block(&words.subtitle, BODY, MARGIN);
        self.gap(2.0);
        self.rule(INK);
        self.gap(2.0);
        for (name, what) in &words.facts {
            self.beside(name, 26.0 * self.size, what, BODY);
        }
        self.gap(1.8);
        for (position, step) in words.steps.iter().enumerate() {
            self.beside(&format!("{}.", position + 1), 5.5 * self.size, step, BODY);
        }
        self.gap(2.5);
        self.rows(words, row_height);
        self.gap(2.0);
        for line in &words.legend {
            self.block(line, NOTE, MARGIN);
        }
        self.gap(1.5);
        self.cautions(&words.cautions);
        self.gap(3.0 + line_height(self.points(NOTE)));
        self
    }

    fn points(&self, full: f64) -> f64 {
        (full * self.size).max(SMALLEST)
    }

    fn gap(&mut self, full: f64) {
        self.at += full * self.size;
    }

    fn rule(&mut self, colour: Colour) {
        self.scene.line(vec![at(MARGIN, self.at), at(PAGE[0] - MARGIN, self.at)], HAIR, colour);
    }

    fn put(&mut self, text: &str, points: f64, anchor: Anchor, x: f64, baseline: f64) {
        let length = self.typeface.length(text, points);
        self.scene.text(text, points, length, anchor, at(x, baseline));
    }

    /// A paragraph from `left` to the right margin.
    fn block(&mut self, text: &str, full: f64, left: f64) {
        let points = self.points(full);
        for line in self.typeface.wrap(text, points, PAGE[0] - MARGIN - left) {
            self.put(&line, points, Anchor::Start, left, self.at + capital_height(points));
            self.at += line_height(points);
        }
    }

    /// A paragraph with a word before it.
    fn beside(&mut self, name: &str, indent: f64, text: &str, full: f64) {
        let points = self.points(full);
        self.put(name, points, Anchor::Start, MARGIN, self.at + capital_height(points));
        self.block(text, full, MARGIN + indent);
        self.gap(0.5);
    }

    fn columns(&self, words: &CardWords) -> Columns {
        let end = PAGE[0] - MARGIN;
        let width = |full: f64| full * self.size.max(0.9);
        let rate = MARGIN + width(44.0);
        let mut next = rate + width(34.0);
        let mut place = |shown: bool, wide: f64| {
            let left = next;
            shown.then(|| {
                next += width(wide);
                left
            })
        };
        let interval = place(words.interval_head.is_some(), 27.0);
        let new_site_years = place(words.new_site_years_head.is_some(), 27.0);
        let support = end - width(17.0);
        let fit = ((support - next) / PRICE_COLUMN).floor().max(0.0) as usize;
        let count = words.other_price_heads.len().min(fit);
        let prices = (0..count).map(|position| next + PRICE_COLUMN * position as f64).collect();
        Columns { rate, interval, new_site_years, prices, support, end }
    }

    fn rows(&mut self, words: &CardWords, height: f64) {
        let columns = self.columns(words);
        self.heads(words, &columns);
        self.rule(INK);
        for row in &words.rows {
            self.row(row, &columns, height);
            self.at += height;
            self.rule(STONE);
        }
    }

    fn heads(&mut self, words: &CardWords, columns: &Columns) {
        let points = self.points(NOTE);
        let after = |left: f64, lefts: &[f64]| {
            lefts.iter().copied().filter(|other| *other > left).fold(columns.end, f64::min) - left - 1.5
        };
        let lefts: Vec<f64> = [Some(columns.rate), columns.interval, columns.new_site_years, Some(columns.support)]
            .into_iter()
            .flatten()
            .chain(columns.prices.iter().copied())
            .collect();
        let mut heads =
            vec![(MARGIN, "Index"), (columns.rate, words.rate_head.as_str()), (columns.support, "Points, site-years")];
        heads.extend(columns.interval.zip(words.interval_head.as_deref()));
        heads.extend(columns.new_site_years.zip(words.new_site_years_head.as_deref()));
        let prices = columns.prices.iter().copied().zip(&words.other_price_heads);
        let prices = prices.map(|(left, head)| (left, vec!["at ratio".to_owned(), head.clone()]));
        let wrapped: Vec<(f64, Vec<String>)> = heads
            .into_iter()
            .map(|(left, head)| (left, self.typeface.wrap(head, points, WIDER_FALLBACK * after(left, &lefts))))
            .chain(prices)
            .collect();
        let most = wrapped.iter().map(|(_, lines)| lines.len()).max().unwrap_or(0);
        for (left, lines) in &wrapped {
            // The last lines of all heads stand on one line.
            let first = most - lines.len();
            for (position, line) in lines.iter().enumerate() {
                let baseline = self.at + capital_height(points) + (first + position) as f64 * line_height(points);
                self.put(line, points, Anchor::Start, *left, baseline);
            }
        }
        self.at += most as f64 * line_height(points) + 0.6;
    }

    fn row(&mut self, row: &RowWords, columns: &Columns, height: f64) {
        let figure = (FIGURE_SHARE * height / capital_height(1.0)).min(1.1 * TITLE);
        let small = self.points(BODY).min(figure);
        let middle = self.at + height / 2.0;
        let baseline = |points: f64| middle + capital_height(points) / 2.0;
        let bar_end = columns.interval.or(columns.new_site_years).unwrap_or(columns.support) - 4.0;
        let bar = [at(columns.rate - 1.5, self.at + 0.6), at(bar_end, self.at + height - 0.6)];
        self.scene.rectangle(bar[0], bar[1], SAND);
        let end = bar[0].x + row.share * (bar[1].x - bar[0].x);
        if row.share > 0.0 {
            self.scene.rectangle(bar[0], at(end, bar[1].y), MIST);
        }
        let index = 0.72 * figure;
        self.put(&row.index, index.max(small), Anchor::Start, MARGIN, baseline(index.max(small)));
        self.put(&row.rate, figure, Anchor::Start, columns.rate, baseline(figure));
        let cells = [(columns.interval, &row.interval), (columns.new_site_years, &row.new_site_years)];
        for (left, text) in cells.into_iter().filter_map(|(left, text)| Some((left?, text))) {
            self.put(text, small, Anchor::Start, left, baseline(small));
        }
        for (left, text) in columns.prices.iter().zip(&row.other_prices) {
            self.put(text, small, Anchor::Start, *left, baseline(small));
        }
        let note = self.points(NOTE).min(figure);
        self.put(&row.support, note, Anchor::Start, columns.support, baseline(note));
    }

    /// What must be known, set off by a bar at its side.
    fn cautions(&mut self, cautions: &[String]) {
        let top = self.at;
        self.gap(0.4);
        for caution in cautions {
            self.block(caution, BODY - 0.5, MARGIN + 4.0);
            self.gap(0.6);
        }
        self.scene.rectangle(at(MARGIN, top), at(MARGIN + 1.2, self.at), INK);
    }

    fn footer(&mut self, text: &str) {
        let points = self.points(NOTE);
        let lines = self.typeface.wrap(text, points, PAGE[0] - 2.0 * MARGIN);
        if let Some(line) = lines.first() {
            self.put(line, points, Anchor::Start, MARGIN, PAGE[1] - MARGIN);
        }
    }
}
