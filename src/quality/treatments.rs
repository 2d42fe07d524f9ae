//! Treatments against blocks: missing, twice, alone.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use super::additive::Additive;
use super::numbering::number_of;
use super::view::View;
use super::words::{count, list};
use crate::finding::{Finding, Place};
use crate::trial::Design;

/// Where more of the cells (and more than three) of treatment × block are not as expected, the design is not a complete one.
const INCOMPLETE_SHARE: f64 = 0.20;
const MOST_SINGLE_FAULTS: usize = 3;
/// Fewer plots a treatment than this, and there is no pattern to break: rates as they went on, or an unreplicated trial.
const LEAST_REPLICATION: f64 = 1.5;
/// In a completely randomised trial, so many of the treatments must have the same number of plots for that to be the plan.
const SAME_REPLICATION_SHARE: f64 = 0.75;

/// Plots of a treatment in a block.
struct Grid {
    /// Plots, by treatment and block.
    plots: BTreeMap<(usize, usize), Vec<usize>>,
    /// A plot of each treatment.
    one_of: BTreeMap<usize, usize>,
    /// Labels of the blocks.
    blocks: Vec<String>,
    /// How many plots a treatment has in a block, as planned.
    expected: BTreeMap<usize, usize>,
}

/// A cell of the grid with another number of plots than planned.
#[derive(Clone, Copy)]
struct Deviation {
    treatment: usize,
    block: usize,
    found: usize,
    expected: usize,
}

/// A block without a treatment that the others have, with one twice, or with one that no other block has; in a completely randomised
/// trial, a treatment with another number of plots than most. What is planned is read from the trial itself: the number of plots that
/// a treatment has in most blocks.
pub(super) fn missing_and_extra(view: &mut View<'_>) -> Vec<Finding> {
    let Some(grid) = Grid::of(view) else { return Vec::new() };
    let deviations = grid.deviations();
    let cells = grid.expected.len() * grid.blocks.len();
    if deviations.len() > MOST_SINGLE_FAULTS && deviations.len() as f64 > INCOMPLETE_SHARE * cells as f64 {
        return vec![incomplete(view, &deviations, cells)];
    }
    let mut findings = Vec::new();
    for block in 0..grid.blocks.len() {
        let of_block = || deviations.iter().filter(|deviation| deviation.block == block);
        let missing: Vec<&Deviation> = of_block().filter(|deviation| deviation.found < deviation.expected).collect();
        let extra: Vec<&Deviation> = of_block().filter(|deviation| deviation.found > deviation.expected).collect();
        if let ([missing], [extra]) = (missing.as_slice(), extra.as_slice()) {
            findings.extend(grid.exchanged(view, missing, extra));
            if extra.expected == 0 {
                view.told.extend(grid.plots.get(&(extra.treatment, extra.block)).into_iter().flatten());
            }
        } else {
            findings.extend(missing.iter().map(|missing| grid.missing(view, missing)));
            findings.extend(extra.iter().filter_map(|extra| grid.extra(view, extra)));
        }
    }
    findings
}

fn incomplete(view: &View<'_>, deviations: &[Deviation], cells: usize) -> Finding {
    let text = format!(
        "{} of {cells} treatment-by-block cells hold another number of plots than the other blocks: this is no complete block design",
        deviations.len()
    );
    let place = Place::file(&view.trial.descriptor).column("design").value(view.trial.design.name());
    Finding::warning("incomplete-blocks", place, text)
        .remedy("check the columns of blocks, varieties and rates; means of treatments in few blocks carry those blocks' effects")
}

impl Grid {
    /// `None` where the trial has no pattern of treatments and blocks to break.
    fn of(view: &View<'_>) -> Option<Self> {
        let treatments = view.treatments();
        let without_blocks = view.trial.design == Design::CompletelyRandomised;
        let labels: BTreeSet<&str> = view.blocks.iter().map(String::as_str).filter(|_| !without_blocks).collect();
        let blocks: Vec<String> =
            if without_blocks { vec![String::new()] } else { labels.into_iter().map(str::to_owned).collect() };
        let mut plots: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
        let mut one_of = BTreeMap::new();
        for (plot, treatment) in treatments.iter().enumerate() {
            let own = view.blocks.get(plot).map_or("", String::as_str);
            let block = if without_blocks { Some(0) } else { blocks.iter().position(|block| block == own) };
            plots.entry((*treatment, block?)).or_default().push(plot);
            one_of.entry(*treatment).or_insert(plot);
        }
        let mut grid = Self { plots, one_of, blocks, expected: BTreeMap::new() };
        let beside: Vec<usize> =
            grid.one_of.iter().filter(|(_, plot)| view.is_beside(**plot)).map(|(treatment, _)| *treatment).collect();
        for treatment in beside {
            if !grid.plans_beside(view, treatment) {
                grid.forget(treatment);
            }
        }
        let total: usize = grid.plots.values().map(Vec::len).sum();
        if (total as f64) < LEAST_REPLICATION * grid.one_of.len() as f64 {
            return None;
        }
        grid.plan()?;
        Some(grid)
    }

    /// Whether N-rich plots beside the treatments are part of the plan: one a block in all blocks but one, and no rule on references
    /// tells it already.
    fn plans_beside(&self, view: &View<'_>, treatment: usize) -> bool {
        let within_block = view.trial.reference.is_some_and(|reference| reference.shared_within.block);
        let blocks = self.blocks.len();
        let with_one = (0..blocks).filter(|block| self.found(treatment, *block) == 1).count();
        !within_block && blocks > 2 && with_one + 1 >= blocks && self.in_all(treatment) <= blocks
    }

    fn forget(&mut self, treatment: usize) {
        self.plots.retain(|(own, _), _| *own != treatment);
        self.one_of.remove(&treatment);
    }

    fn found(&self, treatment: usize, block: usize) -> usize {
        self.plots.get(&(treatment, block)).map_or(0, Vec::len)
    }

    fn in_all(&self, treatment: usize) -> usize {
        (0..self.blocks.len()).map(|block| self.found(treatment, block)).sum()
    }

    /// Reads from the trial how many plots each treatment has in a block; `None` where it shows no plan.
    fn plan(&mut self) -> Option<()> {
        let all: Vec<usize> = self
            .one_of
            .keys()
            .flat_map(|treatment| (0..self.blocks.len()).map(|block| self.found(*treatment, block)))
            .collect();
        let usual = most_common(&all, 1)?;
        if let [_] = self.blocks.as_slice() {
            let as_usual = all.iter().filter(|count| **count == usual).count();
            if usual < 2 || (as_usual as f64) < SAME_REPLICATION_SHARE * all.len() as f64 {
                return None;
            }
            self.expected = self.one_of.keys().map(|treatment| (*treatment, usual)).collect();
            return Some(());
        }
        for treatment in self.one_of.keys() {
            let counts: Vec<usize> = (0..self.blocks.len()).map(|block| self.found(*treatment, block)).collect();
            self.expected.insert(*treatment, most_common(&counts, usual)?);
        }
        Some(())
    }

    fn deviations(&self) -> Vec<Deviation> {
        let cells = self.expected.iter().flat_map(|(treatment, expected)| {
            (0..self.blocks.len()).map(|block| {
                let found = self.found(*treatment, block);
                Deviation { treatment: *treatment, block, found, expected: *expected }
            })
        });
        cells.filter(|cell| cell.found != cell.expected).collect()
    }

    fn label(&self, view: &View<'_>, treatment: usize) -> String {
        let plot = self.one_of.get(&treatment).copied().unwrap_or_default();
        let label = view.treatment_label(plot);
        if view.is_beside(plot) { format!("the N-rich reference ({label})") } else { label }
    }

    /// *block 2*, or *the trial* where there are none.
    fn block(&self, block: usize) -> String {
        match self.blocks.get(block).map(String::as_str) {
            None | Some("") => "the trial".to_owned(),
            Some(label) => format!("block {label}"),
        }
    }

    fn missing(&self, view: &View<'_>, missing: &Deviation) -> Finding {
        let column = view.trial.plot_columns.block.as_deref();
        let block = self.blocks.get(missing.block).map_or("", String::as_str);
        let place = Place::file(&view.trial.plots_file);
        let place = match column {
            Some(column) if !block.is_empty() => place.column(column).value(block),
            _ => place,
        };
        let (label, where_) = (self.label(view, missing.treatment), self.block(missing.block));
        let text = match missing.found {
            0 => format!(
                "{where_} has no plot with {label}, which the other blocks have{}",
                self.skipped(view, missing.block)
            ),
            found => format!(
                "{where_} has {} with {label}, where {} expected{}",
                count(found, "plot"),
                if missing.expected == 1 { "1 is".to_owned() } else { format!("{} are", missing.expected) },
                self.skipped(view, missing.block)
            ),
        };
        Finding::warning("missing-treatment", place, text)
            .remedy("add the plot's row, with an empty yield if it was lost; correct the plot that was meant otherwise")
    }

    /// A hint at numbers that a block skips: a row may be missing from the file.
    fn skipped(&self, view: &View<'_>, block: usize) -> String {
        let of_block = self.plots.iter().filter(|((_, own), _)| *own == block).flat_map(|(_, plots)| plots);
        let own: Vec<u64> = of_block.filter_map(|plot| number_of(view.id(*plot))).collect();
        let all: BTreeSet<u64> = view.trial.plots.iter().filter_map(|plot| number_of(&plot.id)).collect();
        let skipped: Vec<String> = stretch(&own, &all)
            .into_iter()
            .flatten()
            .filter(|number| !all.contains(number))
            .map(|number| number.to_string())
            .collect();
        match skipped.len() {
            0 => String::new(),
            1 => format!("; the file skips plot {}", list(&skipped)),
            few if few <= MOST_SINGLE_FAULTS => format!("; the file skips plots {}", list(&skipped)),
            _ => String::new(),
        }
    }

    fn extra(&self, view: &View<'_>, extra: &Deviation) -> Option<Finding> {
        let plots = self.plots.get(&(extra.treatment, extra.block))?;
        let ids: Vec<&str> = plots.iter().map(|plot| view.id(*plot)).collect();
        let label = self.label(view, extra.treatment);
        let place = view.cell(*plots.last()?, view.plot_column(), *ids.last()?);
        Some(if extra.expected == 0 {
            let text =
                format!("{} has {label} (plot {}), which no other block has", self.block(extra.block), list(&ids));
            Finding::warning("lone-treatment", place, text)
                .remedy("correct its rates or levels if another treatment was meant")
        } else {
            let text = format!(
                "{} has {label} in {} ({}), where the plan has {}",
                self.block(extra.block),
                count(ids.len(), "plot"),
                list(&ids),
                extra.expected
            );
            Finding::warning("repeated-treatment", place, text).remedy("correct the plot that was meant otherwise")
        })
    }

    /// A block that has one treatment too many and one too few: one plot was labelled as another treatment. Its label is put right in
    /// the view.
    fn exchanged(&self, view: &mut View<'_>, missing: &Deviation, extra: &Deviation) -> Option<Finding> {
        let plots = self.plots.get(&(extra.treatment, extra.block))?;
        let likeliest = likeliest(view, plots, missing.treatment);
        let plot = likeliest.or(plots.last().copied()).filter(|plot| !view.told.contains(plot))?;
        let meant = self.one_of.get(&missing.treatment).copied()?;
        let differing: Vec<_> =
            view.factors.iter().filter(|factor| factor.levels.get(plot) != factor.levels.get(meant)).collect();
        let place = match differing.as_slice() {
            [factor] => view.cell(plot, factor.column.as_deref(), factor.levels.get(plot)?),
            _ => view.cell(plot, view.plot_column(), view.id(plot)),
        };
        let (block, wanted, label) =
            (self.block(extra.block), self.label(view, missing.treatment), self.label(view, extra.treatment));
        let finding = if extra.expected == 0 {
            let text = format!(
                "plot {} has {label}, which no other block has, and {block} has none with {wanted}",
                view.id(plot)
            );
            let remedy = format!("write {wanted} if that was meant");
            Finding::warning("lone-treatment", place, text).remedy(remedy)
        } else {
            let ids: Vec<&str> = plots.iter().map(|plot| view.id(*plot)).collect();
            let text = format!(
                "{block} has {label} in {} (plots {}) and none with {wanted}",
                count(ids.len(), "plot"),
                list(&ids)
            );
            let remedy = match likeliest {
                Some(plot) => {
                    let id = view.id(plot);
                    format!("by its yield, plot {id} is rather {wanted} than the others: look at the field plan")
                }
                None => format!("one of these plots may be {wanted}: look at the field plan"),
            };
            Finding::warning("repeated-treatment", place, text).remedy(remedy)
        };
        for factor in &mut view.factors {
            let right = factor.levels.get(meant).cloned();
            if let (Some(level), Some(right)) = (factor.levels.get_mut(plot), right) {
                *level = right;
            }
        }
        Some(finding)
    }
}

/// Of plots with one label, the one whose yield fits treatment `meant` best: with its label changed, treatment and block leave the
/// smallest residual sum of squares. `None` where yields don't tell.
fn likeliest(view: &View<'_>, plots: &[usize], meant: usize) -> Option<usize> {
    let (treatments, strata, yields) = (view.treatments(), view.strata(), view.yields());
    let rss = |candidate: usize| {
        yields.get(candidate).copied().flatten()?;
        let label = |plot: usize, own: usize| if plot == candidate { meant } else { own };
        let measured = treatments.iter().zip(&strata).zip(&yields).enumerate();
        let measured =
            measured.filter_map(|(plot, ((own, stratum), value))| Some((label(plot, *own), *stratum, (*value)?)));
        let (labels, strata, values) = measured.collect::<(Vec<usize>, Vec<usize>, Vec<f64>)>();
        Some((candidate, Additive::fit(&labels, &strata, &values)?.rss()))
    };
    let fits = plots.iter().map(|plot| rss(*plot)).collect::<Option<Vec<_>>>()?;
    fits.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).map(|(plot, _)| plot)
}

/// Numbers further apart are no run of plots, and what they skip says nothing.
const LONGEST_STRETCH: u64 = 1_000;

/// The numbers that a block runs over: from its first plot to its last, or as far as other blocks go where the hundreds name the block; none
/// where there are no numbers or they are far apart.
fn stretch(own: &[u64], all: &BTreeSet<u64>) -> Option<RangeInclusive<u64>> {
    let (first, last) = (*own.iter().min()?, *own.iter().max()?);
    if last - first > LONGEST_STRETCH {
        return None;
    }
    let hundred = first - first % 100;
    let by_hundreds = hundred > 0 && last - hundred < 100 && all.iter().all(|number| *number >= 100);
    let ends = all.iter().map(|number| number % 100);
    Some(match (ends.clone().min(), ends.max()) {
        (Some(lowest), Some(highest)) if by_hundreds => hundred + lowest..=hundred + highest,
        _ => first..=last,
    })
}

/// The most common count; where several are, the one nearest to `usual`.
fn most_common(counts: &[usize], usual: usize) -> Option<usize> {
    let mut tally: BTreeMap<usize, usize> = BTreeMap::new();
    for count in counts {
        *tally.entry(*count).or_default() += 1;
    }
    let ranked = tally.into_iter().max_by_key(|(count, times)| (*times, std::cmp::Reverse(count.abs_diff(usual))));
    ranked.map(|(count, _)| count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_runs_as_far_as_the_others_where_hundreds_name_it() {
        let all: BTreeSet<u64> = [102, 103, 201, 202, 203].into();
        assert_eq!(stretch(&[102, 103], &all), Some(101..=103));
        assert_eq!(stretch(&[4, 6], &[1, 2, 3, 4, 6].into()), Some(4..=6));
        assert_eq!(stretch(&[], &all), None);
        assert_eq!(stretch(&[1, u64::MAX], &all), None);
    }

    #[test]
    fn the_plan_is_what_most_blocks_have() {
        assert_eq!(most_common(&[1, 1, 0, 1], 1), Some(1));
        assert_eq!(most_common(&[0, 0, 1, 0], 1), Some(0));
        assert_eq!(most_common(&[1, 0], 1), Some(1));
        assert_eq!(most_common(&[2, 1], 1), Some(1));
        assert_eq!(most_common(&[], 1), None);
    }
}
