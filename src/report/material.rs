//! What every section is written from.

use std::collections::BTreeSet;

use serde_json::{Map, Value};

use super::content::{Block, Cell, Illustration, Section};
use super::draft::{Draft, Numerals, count, dash, with_unit, word};
use super::figures::is_kind;
use crate::figures::{DrawnFigure, Wording};
use crate::output::group::{factor_text, factors, level_text};
use crate::output::interval_words::interval_head;
use crate::output::numbers::plain;
use crate::output::{ComparisonOf, SeasonReports};
use crate::season::Season;
use crate::trial::InputFile;

/// Lists in running text name so many, and count the others.
const LISTED: usize = 12;

/// A season with everything that was made of it.
#[derive(Debug)]
pub(super) struct Material<'a> {
    pub(super) season: &'a Season,
    /// Its reports in the units that are shown.
    pub(super) reports: SeasonReports,
    pub(super) wording: &'a Wording,
    pub(super) numerals: Numerals,
    /// Labels that users typed and that would read as numbers to be written otherwise; mostly none.
    pub(super) typed: Vec<String>,
    /// Its tables against earlier ones, with the files of those.
    pub(super) changes: &'a [(ComparisonOf, InputFile)],
    pub(super) figures: Vec<&'a DrawnFigure>,
}

impl Material<'_> {
    /// Words and numbers that were put together here, the numbers as they are written; what users typed among them stays as it is.
    pub(super) fn set(&self, text: &str) -> String {
        let typed = |start: usize| {
            let rest = text.get(start..)?;
            let whole = |label: &&String| {
                let ends = |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphanumeric());
                rest.starts_with(label.as_str())
                    && ends(text.get(..start).and_then(|before| before.chars().next_back()))
                    && ends(rest.get(label.len()..).and_then(|after| after.chars().next()))
            };
            self.typed.iter().filter(whole).map(String::len).max()
        };
        let (mut set, mut from) = (String::new(), 0);
        let mut position = 0;
        while position < text.len() {
            match typed(position) {
                Some(length) => {
                    set += &self.numerals.set(text.get(from..position).unwrap_or_default());
                    set += text.get(position..position + length).unwrap_or_default();
                    (from, position) = (position + length, position + length);
                }
                None => position += 1,
            }
        }
        set + &self.numerals.set(text.get(from..).unwrap_or_default())
    }

    pub(super) fn rate_unit(&self) -> Option<&str> {
        Some(self.wording.rate_unit())
    }

    pub(super) fn yield_unit(&self) -> Option<&str> {
        Some(self.wording.yield_unit())
    }

    /// A head with the unit of N rates.
    pub(super) fn of_rate(&self, head: &str) -> String {
        with_unit(head, self.rate_unit())
    }

    /// A head with the unit of yields.
    pub(super) fn of_yield(&self, head: &str) -> String {
        with_unit(head, self.yield_unit())
    }

    /// The head of an interval at the programme's level.
    pub(super) fn interval_head(&self) -> String {
        interval_head(Some(self.season.programme.decisions.level))
    }

    /// The figures of a kind, told by the end of their names; `of` tells them by their beginning, where it is given.
    pub(super) fn figures(&self, kinds: &[&str], of: Option<&str>) -> Vec<Block> {
        let is_wanted =
            |name: &str, kind: &str| is_kind(name, kind).is_some_and(|before| of.is_none_or(|of| before == of));
        let wanted = self.figures.iter().filter(|figure| kinds.iter().any(|kind| is_wanted(&figure.name, kind)));
        wanted.map(|figure| Block::Figure(illustration(figure))).collect()
    }
}

/// Labels that users typed which [`Numerals::set`] would change.
pub(super) fn typed_labels(season: &Season, numerals: Numerals) -> Vec<String> {
    let mut labels: BTreeSet<&str> = BTreeSet::new();
    for trial in &season.programme.trials {
        labels.extend([trial.folder.as_str(), trial.site.as_str()]);
        labels.extend(trial.factors.iter().map(String::as_str));
        labels.extend(trial.applications.iter().map(|application| application.name.as_str()));
        for plot in &trial.plots {
            let columns = [&plot.block, &plot.main_plot, &plot.strip, &plot.variety];
            labels.extend(columns.into_iter().flatten().map(String::as_str));
            labels.extend(plot.factor_levels.iter().map(String::as_str).chain([plot.id.as_str()]));
        }
    }
    labels.extend(season.programme.tables.iter().map(|table| table.name.as_str()));
    labels.into_iter().filter(|label| numerals.set(label) != **label).map(str::to_owned).collect()
}

/// A drawn figure with its words.
pub(super) fn illustration(figure: &DrawnFigure) -> Illustration {
    let rendered = &figure.rendered;
    Illustration {
        name: figure.name.clone(),
        svg: rendered.svg.clone(),
        width: rendered.width,
        alternative: rendered.words.finding.clone(),
        caption: rendered.words.caption.clone(),
    }
}

/// A section of what there is.
pub(super) fn section(name: &str, title: &str, blocks: impl IntoIterator<Item = Block>) -> Section {
    Section { name: name.to_owned(), title: title.to_owned(), blocks: blocks.into_iter().collect() }
}

/// A paragraph; nothing of an empty text.
pub(super) fn paragraph(text: impl Into<String>) -> Option<Block> {
    let text: String = text.into();
    let text = text.trim().to_owned();
    (!text.is_empty()).then_some(Block::Paragraph(text))
}

/// A list of points; nothing of none.
pub(super) fn list(points: Vec<String>) -> Option<Block> {
    (!points.is_empty()).then_some(Block::List(points))
}

/// *a, b and 48 more*.
pub(super) fn listed<S: AsRef<str>>(items: &[S]) -> String {
    let names = |items: &[S]| items.iter().map(AsRef::as_ref).collect::<Vec<&str>>().join(", ");
    match items.split_at_checked(LISTED) {
        Some((shown, others)) if !others.is_empty() => format!("{} and {} more", names(shown), others.len()),
        _ => names(items),
    }
}

/// The points of a list that is kept short, with what stands instead of the others.
pub(super) fn shortened(mut points: Vec<String>, rest: &str) -> Vec<String> {
    let more = points.len().saturating_sub(LISTED);
    points.truncate(LISTED);
    if more > 0 {
        points.push(format!("{more} more {rest}."));
    }
    points
}

/// The columns that tell groups apart.
#[derive(Debug)]
pub(super) struct Telling {
    factors: Vec<String>,
}

/// Amounts of N among what tells groups apart, with their heads.
const RATES: [(&str, &str); 3] = [("early_n", "early N"), ("topdress_n", "topdress N"), ("n", "N")];

impl Telling {
    pub(super) fn of<'g>(groups: impl Iterator<Item = &'g Map<String, Value>>) -> Self {
        let found = factors(groups);
        let is_rate = |factor: &String| RATES.iter().any(|(name, _)| name == factor);
        // Amounts of N come last, in the order that they went on.
        let (_, mut words): (Vec<String>, Vec<String>) = found.iter().cloned().partition(is_rate);
        words.extend(RATES.iter().map(|(name, _)| (*name).to_owned()).filter(|name| found.contains(name)));
        Self { factors: words }
    }

    /// A table with these columns.
    pub(super) fn columns(&self, draft: Draft, material: &Material<'_>) -> Draft {
        self.factors.iter().fold(draft, |draft, factor| match RATES.iter().find(|(name, _)| name == factor) {
            Some((_, head)) => draft.numbers(material.of_rate(head)),
            None => draft.words(factor_text(factor)),
        })
    }

    /// What a group has in them.
    pub(super) fn cells(&self, group: &Map<String, Value>, material: &Material<'_>) -> Vec<Cell> {
        let cell = |factor: &String| match group.get(factor) {
            Some(Value::Number(number)) => material.numerals.written(number.as_f64(), plain),
            Some(level) => word(&level_text(level)),
            None => dash(),
        };
        self.factors.iter().map(cell).collect()
    }
}

/// A count that may be missing.
pub(super) fn some_count(number: Option<usize>) -> Cell {
    number.map_or_else(dash, count)
}
