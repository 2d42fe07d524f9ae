//! Which effects cannot be told apart, and which combinations have no plot.

use super::experiment::Experiment;
use super::linear::{Groups, beyond};
use super::result::Note;
use super::terms::Cells;

/// What the reader must know of the design itself.
pub(super) fn notes(experiment: &Experiment, cells: &Cells) -> Vec<Note> {
    let mut notes = Vec::new();
    let empty: Vec<usize> =
        cells.counts.iter().enumerate().filter(|(_, count)| **count == 0).map(|(cell, _)| cell).collect();
    if let Some(first) = empty.first() {
        let name = |(position, factor): (usize, &super::Factor)| {
            format!("{} {}", factor.name, factor.levels.get(cells.level(*first, position)).map_or("", String::as_str))
        };
        let first: Vec<String> = experiment.treatments.iter().enumerate().map(name).collect();
        notes.push(Note {
            code: "empty-cells",
            text: format!(
                "{} of {} combinations of treatments have no plot ({}{}): means and effects that rest on them cannot be estimated",
                empty.len(),
                cells.number(),
                first.join(", "),
                if empty.len() > 1 { ", for one" } else { "" },
            ),
        });
    }
    if experiment.blocks.is_some()
        && experiment.block_count() <= experiment.site_years.as_ref().map_or(1, |of| of.levels.len())
    {
        notes.push(Note {
            code: "one-block",
            text: "there is one block: nothing tells its soil from the treatments on whole blocks, and larger units have no error of their own"
                .to_owned(),
        });
    }
    notes.extend(confounded(experiment, cells));
    notes
}

/// Main effects that blocks, site-years or another main effect span.
fn confounded(experiment: &Experiment, cells: &Cells) -> Vec<Note> {
    let plots = experiment.plots();
    let mut notes = Vec::new();
    let columns = |position: usize| -> Vec<Vec<f64>> {
        cells
            .terms
            .get(position)
            .into_iter()
            .flat_map(|term| &term.columns)
            .map(|column| cells.at_plots(column))
            .collect()
    };
    let centred = |groups: &Groups, columns: Vec<Vec<f64>>| -> Vec<Vec<f64>> {
        columns.into_iter().map(|column| groups.apart(column).1).collect()
    };
    let all = Groups::new(None, plots);
    let units = [
        ("site-years", experiment.site_years.as_ref().map(|factor| factor.level_of.as_slice())),
        ("blocks", experiment.blocks.as_deref()),
    ];
    let mains = cells.terms.iter().enumerate().filter(|(_, term)| term.factors.len() == 1);
    let mut told: Vec<usize> = Vec::new();
    for (position, term) in mains.clone() {
        let own = beyond(&[], &centred(&all, columns(position))).len();
        let spanned_by = |groups: &Groups| beyond(&[], &centred(groups, columns(position))).len() < own;
        // The coarsest units that hold it say it all.
        if let Some((what, _)) =
            units.iter().find(|(_, of)| of.is_some_and(|of| spanned_by(&Groups::new(Some(of), plots))))
        {
            notes.push(Note {
                code: "confounded-effects",
                text: format!("these effects can't be told apart, in whole or in part: {} and {what}", term.name),
            });
        }
        for (other, with) in mains.clone().filter(|(other, _)| *other > position) {
            let basis = beyond(&[], &centred(&all, columns(other)));
            let spans = beyond(&basis, &centred(&all, columns(position))).len() < own;
            if spans && !told.contains(&other) {
                told.push(other);
                notes.push(Note {
                    code: "confounded-effects",
                    text: format!(
                        "these effects can't be told apart, in whole or in part: {} and {}",
                        term.name, with.name
                    ),
                });
            }
        }
    }
    notes
}
