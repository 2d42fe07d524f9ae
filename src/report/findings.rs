//! What the files and the results give to know.

use std::collections::BTreeMap;

use super::content::{Block, Section};
use super::draft::{Draft, count, word};
use super::material::{Material, paragraph, section};
use crate::figures::WordingOptions;

pub(super) fn findings(material: &Material<'_>) -> Section {
    let found = &material.season.warnings;
    let introduction = match found.len() {
        0 => "The checks found nothing to tell of the data, nor did the results.",
        _ => {
            "Nothing was changed on account of a finding: what is left out was left out by whoever described the trial, with a reason."
        }
    };
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    for finding in found {
        *kinds.entry(finding.code).or_default() += 1;
    }
    let mut kinds: Vec<(&str, usize)> = kinds.into_iter().collect();
    kinds.sort_by_key(|(_, number)| std::cmp::Reverse(*number));
    let mut counted = Draft::new("finding-kinds", "Findings by kind").words("kind").numbers("findings");
    for (code, number) in kinds {
        counted.row([word(code), count(number)]);
    }
    let mut all =
        Draft::new("findings-in-full", "Findings").words("kind").words("place").words("finding").words("remedy");
    for finding in found {
        all.row([
            word(finding.code),
            word(&finding.place.to_string()),
            word(&finding.text),
            word(finding.remedy.as_deref().unwrap_or_default()),
        ]);
    }
    if material.wording.options() != WordingOptions::default() {
        all.note("Findings are told as the checks told them: in the programme's units, with a decimal point.");
    }
    let blocks = [paragraph(introduction), counted.block(), all.block()];
    section("findings", "Findings in the data", blocks.into_iter().flatten().collect::<Vec<Block>>())
}

/// Notes on the weather; no section without any.
pub(super) fn weather(material: &Material<'_>) -> Option<Section> {
    let mut draft =
        Draft::new("weather-notes", "Notes on the weather, as they were written down").words("trial").words("notes");
    for trial in &material.season.programme.trials {
        if let Some(notes) = &trial.background.weather_notes {
            draft.row([word(&trial.folder), word(notes)]);
        }
    }
    Some(section("weather", "Weather", [draft.block()?]))
}
