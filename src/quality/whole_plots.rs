//! Main plots of a split-plot design, and strips of a strip-plot design.

use std::collections::BTreeMap;

use super::view::View;
use crate::finding::Finding;
use crate::trial::Design;

/// A main plot or strip whose plots do not agree in a factor that the design lays on it: an error, because that factor is tested
/// against main plots or strips. Told at the plots that differ from most of theirs.
pub(super) fn two_levels(view: &mut View<'_>) -> Vec<Finding> {
    let (what, key, code) = match view.trial.design {
        Design::CompletelyRandomised | Design::RandomisedCompleteBlock => return Vec::new(),
        Design::SplitPlot { .. } => ("main plot", "main_plot", "main-plot-levels"),
        Design::StripPlot { .. } => ("strip", "strip", "strip-levels"),
    };
    let mut whole_plots: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (position, plot) in view.trial.plots.iter().enumerate() {
        if let Some(label) = view.whole_plot_label(position) {
            whole_plots.entry((plot.block.as_deref().unwrap_or_default(), label)).or_default().push(position);
        }
    }
    let mut findings = Vec::new();
    for (position, factor) in view.factors.clone().iter().enumerate().filter(|(_, factor)| factor.on_whole) {
        for ((block, label), plots) in &whole_plots {
            let level = |plot: &usize| factor.levels.get(*plot).map_or("", String::as_str);
            let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
            for plot in plots {
                *counts.entry(level(plot)).or_default() += 1;
            }
            let Some((most, _)) = counts.iter().max_by_key(|(_, count)| **count) else { continue };
            for plot in plots.iter().filter(|plot| level(plot) != *most) {
                let own = level(plot);
                let text = format!(
                    "{what} {label} of block {block} holds two levels of {:?}: {own} in plot {} and {most} in most of its plots",
                    factor.name,
                    view.id(*plot)
                );
                let place = view.cell(*plot, factor.column.as_deref(), own);
                let remedy = format!("correct the level or the {what}, or take the factor out of {key}");
                findings.push(Finding::error(code, place, text).remedy(remedy));
                if let Some(own) = view.factors.get_mut(position).and_then(|factor| factor.levels.get_mut(*plot)) {
                    (*most).clone_into(own);
                }
            }
        }
    }
    findings
}
