//! Methods in words, ready to be pasted into a paper: what was done in this season, and nothing else.

mod calibration;
mod experiment;
mod references;
mod response;
mod sensing;
mod site_years;

use super::content::{Block, Section};
use super::material::{Material, list, paragraph, section};
use crate::output::numbers::{percent, plain};
use references::Citations;

/// A heading, and what was done.
type Part = Option<(&'static str, String)>;

pub(super) fn methods(material: &Material<'_>) -> Section {
    let mut citations = Citations::default();
    let parts: [fn(&Material<'_>, &mut Citations) -> Part; 8] = [
        experiment::designs,
        experiment::yields,
        experiment::analysis,
        response::curves,
        response::economics,
        site_years::site_years,
        sensing::sensing,
        calibration::calibration,
    ];
    let mut blocks: Vec<Block> = Vec::new();
    let mut part = |(heading, text): (&str, String)| {
        blocks.push(Block::Heading(heading.to_owned()));
        blocks.extend(paragraph(text));
    };
    parts.into_iter().filter_map(|of| of(material, &mut citations)).for_each(&mut part);
    part(("Computation", computation(material, &mut citations)));
    let cited = citations.list();
    if !cited.is_empty() {
        blocks.push(Block::Heading("References".to_owned()));
        blocks.extend(list(cited));
        blocks.extend(paragraph(
            "The list was written from memory: check each reference against its source before it is printed.",
        ));
    }
    section("methods", "Methods", blocks)
}

/// The level of intervals: *95 %*.
fn level(material: &Material<'_>) -> String {
    material.set(&percent(material.season.programme.decisions.level))
}

/// A number in running text.
fn number(material: &Material<'_>, value: f64) -> String {
    material.set(&plain(value))
}

/// *a, b and c*.
fn and<S: AsRef<str>>(items: &[S]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", first.join(", "), last.as_ref())
        }
    }
}

/// A number of things, small ones in words: *three trials*.
fn number_of(number: usize, noun: &str) -> String {
    const WORDS: [&str; 13] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    let plural = if number == 1 { "" } else { "s" };
    WORDS.get(number).map_or_else(|| format!("{number} {noun}{plural}"), |word| format!("{word} {noun}{plural}"))
}

fn computation(material: &Material<'_>, citations: &mut Citations) -> String {
    let season = material.season;
    let mut text = format!(
        "All results were computed with stook {} from the files listed under Provenance; everything left to chance was drawn from seed {}, so \
         that the same files give the same results.",
        env!("CARGO_PKG_VERSION"),
        season.options.seed,
    );
    let wording = material.wording;
    if (wording.rate(1.0), wording.yields(1.0)) != (1.0, 1.0) {
        let units = season.programme.units;
        let form = wording.options().unit_form;
        text += &format!(
            " Results were computed with N rates in {} and yields in {}, and converted to {} and {} {}.",
            form.unit(&units.n_rate.to_string()),
            form.unit(&units.yields.to_string()),
            wording.rate_unit(),
            wording.yield_unit(),
            citations.cite(&[references::Reference::Nist811]),
        );
    }
    text
}
