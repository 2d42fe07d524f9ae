//! Yield response of every trial on the same axes.

use super::response::{drawn_words, finding, pages, panel, ratio_words, trials};
use super::{Material, NamedFigure, groups};
use crate::experiment::FittedGroup;
use crate::figures::ResponsePanel;
use crate::trial::{NeedFrom, Trial};

/// A panel a group, those whose rate is all of the N apart from topdresses; nothing of one trial alone, which has its own figure.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    if trials(material).count() < 2 {
        return Vec::new();
    }
    let kinds = [NeedFrom::DifferenceFromOptimum, NeedFrom::TopdressResponse];
    let present: Vec<NeedFrom> = kinds
        .into_iter()
        .filter(|kind| trials(material).any(|(trial, result)| trial.need_from == *kind && !result.groups.is_empty()))
        .collect();
    let name = |kind: NeedFrom| match kind {
        NeedFrom::TopdressResponse if present.len() > 1 => "all-trials-topdress-response",
        _ => "all-trials-response",
    };
    present.iter().flat_map(|kind| of_kind(material, *kind, name(*kind))).collect()
}

fn of_kind(material: Material<'_>, kind: NeedFrom, name: &str) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    let members = || trials(material).filter(move |(trial, _)| trial.need_from == kind);
    let panel = |trial: &Trial, group: &FittedGroup| {
        let alike = |(other, _): &(&Trial, _)| other.site_year() == trial.site_year();
        let folder = if trials(material).filter(alike).count() > 1 { trial.folder.clone() } else { String::new() };
        let parts = [trial.site_year(), folder, groups::title(group, wording)];
        let title = parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ");
        // One name for all: what the families are is in the figures of each trial.
        Some(ResponsePanel { curve_label: "fitted curve".to_owned(), ..panel(material, group, Some(title))? })
    };
    let panels: Vec<ResponsePanel> = members()
        .flat_map(|(trial, result)| result.groups.iter().filter_map(move |group| panel(trial, group)))
        .collect();
    let plots: usize = panels.iter().map(|panel| panel.plots.len()).sum();
    let rate_name = groups::rate_name(kind);
    let crop = &season.programme.crop.name;
    let trials = members().count();
    let title = format!("Yield of {crop} against {rate_name}, {trials} trials");
    let caption = format!(
        "Yield of {crop} against {rate_name} in {trials} trials, all on the same axes (n = {plots} plots). {}{}",
        drawn_words(material),
        ratio_words(material),
    );
    pages(material, name, kind, [title, caption], panels, |panel| finding(panel, wording))
}
