//! Main plots of a split-plot design.

use std::collections::BTreeMap;

use super::view::View;
use crate::finding::Finding;
use crate::trial::Design;

/// A main plot whose plots do not agree in a factor that the design lays on main plots: an error, because that factor is tested
/// against main plots. Told at the plots that differ from most of their main plot.
pub(super) fn two_levels(view: &mut View<'_>) -> Vec<Finding> {
    if !matches!(view.trial.design, Design::SplitPlot { .. }) {
        return Vec::new();
    }
    let mut main_plots: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (position, plot) in view.trial.plots.iter().enumerate() {
        if let Some(main_plot) = &plot.main_plot {
            main_plots.entry((plot.block.as_deref().unwrap_or_default(), main_plot)).or_default().push(position);
        }
    }
    let mut findings = Vec::new();
    for (position, factor) in view.factors.clone().iter().enumerate().filter(|(_, factor)| factor.on_main_plots) {
        for ((block, main_plot), plots) in &main_plots {
            let level = |plot: &usize| factor.levels.get(*plot).map_or("", String::as_str);
            let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
            for plot in plots {
                *counts.entry(level(plot)).or_default() += 1;
            }
            let Some((most, _)) = counts.iter().max_by_key(|(_, count)| **count) else { continue };
            for plot in plots.iter().filter(|plot| level(plot) != *most) {
                let own = level(plot);
                let text = format!(
                    "main plot {main_plot} of block {block} holds two levels of {:?}: {own} in plot {} and {most} in most of its plots",
                    factor.name,
                    view.id(*plot)
                );
                let place = view.cell(*plot, factor.column.as_deref(), own);
                let remedy = "correct the level or the main plot, or take the factor out of main_plot";
                findings.push(Finding::error("main-plot-levels", place, text).remedy(remedy));
                if let Some(label) = view.factors.get_mut(position).and_then(|factor| factor.levels.get_mut(*plot)) {
                    (*most).clone_into(label);
                }
            }
        }
    }
    findings
}
