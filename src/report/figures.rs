//! Which figures stand in a report.

use std::collections::BTreeSet;

use super::content::{Block, Section};
use super::material::{Material, illustration, paragraph, section};
use crate::season::Season;

/// In a report of more trials only the responses of each are drawn, and what is of all trials or of a table.
const MOST_TRIALS_IN_FULL: usize = 12;

/// What every trial has a figure of, whatever their number.
const OF_EVERY_TRIAL: &str = "response";

/// Whether a figure, by its name, stands in the report of a season. Long programmes would else have hundreds.
#[must_use]
pub fn is_in_report(name: &str, season: &Season) -> bool {
    let trials = &season.programme.trials;
    let of_one = trials.iter().find_map(|trial| name.strip_prefix(trial.folder.as_str()));
    trials.len() <= MOST_TRIALS_IN_FULL || of_one.is_none_or(|kind| is_kind(kind, OF_EVERY_TRIAL).is_some())
}

/// What stands before the kind that ends a figure's name; a figure of many panels comes on several pages, which are numbered.
pub(super) fn is_kind<'n>(name: &'n str, kind: &str) -> Option<&'n str> {
    let (before, after) = name.rsplit_once(kind)?;
    let is_end = after.is_empty() || after.strip_prefix('-').is_some_and(|page| page.parse::<u32>().is_ok());
    before.strip_suffix('-').filter(|_| is_end)
}

/// What is said where figures are left out of a long report.
pub(super) fn left_out(material: &Material<'_>) -> Option<Block> {
    let long = material.season.programme.trials.len() > MOST_TRIALS_IN_FULL;
    let text = "Of so many trials only the response is drawn here: `stook figures` draws means, residuals, net returns, readings and the rest of each.";
    paragraph(text).filter(|_| long && !material.figures.is_empty())
}

/// The figures that no other section shows; no section without any.
pub(super) fn further(material: &Material<'_>, sections: &[Section]) -> Option<Section> {
    let blocks = sections.iter().flat_map(|section| &section.blocks);
    let placed: BTreeSet<&str> = blocks
        .filter_map(|block| match block {
            Block::Figure(figure) => Some(figure.name.as_str()),
            _ => None,
        })
        .collect();
    let rest = material.figures.iter().filter(|figure| !placed.contains(figure.name.as_str()));
    let rest: Vec<Block> = rest.map(|figure| Block::Figure(illustration(figure))).collect();
    (!rest.is_empty()).then(|| section("figures", "Further figures", rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_ends_a_name_before_its_page() {
        assert_eq!(is_kind("upper-terrace-2024-response", "response"), Some("upper-terrace-2024"));
        assert_eq!(is_kind("upper-terrace-2024-response-2", "response"), Some("upper-terrace-2024"));
        assert_eq!(is_kind("response-trial-residuals", "response"), None);
        assert_eq!(is_kind("upper-terrace-2024-net-return", "response"), None);
    }
}
