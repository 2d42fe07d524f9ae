//! Readings that fit the treatments far better in another order than they stand in.

use super::additive::Additive;
use super::sensed::{Read, Sensed};
use super::view::View;
use super::words::{count, rounded};
use crate::finding::Finding;
use crate::stats::distribution::f_survival;
use crate::stats::levels::level_indices;

/// Readings are tried moved by up to so many plots: a plot skipped or read twice, or a title line taken for a plot.
const FARTHEST: usize = 3;
/// Chance of the ratio of residual variances (as F, divided over the orders tried) below which the other order is told. The two
/// variances rest on the same readings, so this is no exact test and is calibrated by simulation instead: of 27 000 sound trials of 4, 6
/// and 12 treatments in 4 blocks, a third of them without a response, none was told (2 at 0.01), and of trials moved by a plot 96 % were
/// where N is clearly seen (6 treatments, a response of 10 residual SDs).
const ALPHA: f64 = 5e-3;
/// Fewer degrees of freedom than this can't tell an order.
const FEWEST_DEGREES: usize = 6;

/// Another order of the readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    /// Each reading belongs so many plots further on.
    Later(usize),
    /// Each reading belongs so many plots further back.
    Earlier(usize),
    /// The last first.
    Reversed,
    /// Every second block the other way, from the second or from the first on: walked as a serpentine, or not.
    Serpentine {
        /// Whether the second block is the first that is turned.
        from_second: bool,
    },
}

impl Order {
    fn all() -> impl Iterator<Item = Self> {
        let moved = (1..=FARTHEST).flat_map(|plots| [Self::Later(plots), Self::Earlier(plots)]);
        moved.chain([Self::Reversed, Self::Serpentine { from_second: true }, Self::Serpentine { from_second: false }])
    }

    /// Pairs of (plot, reading), as positions in the given order; `blocks` holds the stretch of each position.
    fn pairs(self, blocks: &[usize]) -> Vec<(usize, usize)> {
        let count = blocks.len();
        match self {
            Self::Later(by) => (by..count).map(|plot| (plot, plot - by)).collect(),
            Self::Earlier(by) => (by..count).map(|reading| (reading - by, reading)).collect(),
            Self::Reversed => (0..count).map(|plot| (plot, count - 1 - plot)).collect(),
            Self::Serpentine { from_second } => {
                let mut pairs = Vec::with_capacity(count);
                let mut start = 0;
                for (turn, stretch) in blocks.chunk_by(|a, b| a == b).enumerate() {
                    let end = start + stretch.len();
                    let turned = (turn % 2 == 1) == from_second;
                    pairs.extend((start..end).map(|plot| (plot, if turned { start + end - 1 - plot } else { plot })));
                    start = end;
                }
                pairs
            }
        }
    }

    fn words(self) -> String {
        match self {
            Self::Later(by) => format!("moved {} on", count(by, "plot")),
            Self::Earlier(by) => format!("moved {} back", count(by, "plot")),
            Self::Reversed => "from the last plot to the first".to_owned(),
            Self::Serpentine { .. } => "with every second block the other way".to_owned(),
        }
    }
}

/// Another order that fits convincingly better.
pub(super) struct Better {
    pub(super) order: Order,
    /// Residual standard deviation of treatment + block as the readings stand, on the plots that both orders share.
    pub(super) given: f64,
    /// The same in the other order.
    pub(super) other: f64,
}

/// The order in which `values` fit treatment + block convincingly better than as they stand, if there is one: the one with the smallest
/// chance of its ratio of residual variances. A response to N that the readings show makes them fit badly in a wrong order; without one no
/// order fits better than another.
pub(super) fn better_order(treatments: &[usize], blocks: &[usize], values: &[f64]) -> Option<Better> {
    let tried = Order::all().count() as f64;
    let mut best: Option<(f64, Better)> = None;
    for order in Order::all() {
        let pairs = order.pairs(blocks);
        if pairs.iter().all(|(plot, reading)| plot == reading) {
            continue;
        }
        let plots =
            |levels: &[usize]| pairs.iter().filter_map(|(plot, _)| levels.get(*plot).copied()).collect::<Vec<_>>();
        let (treatments, blocks) = (level_indices(&plots(treatments)), level_indices(&plots(blocks)));
        let given: Vec<f64> = pairs.iter().filter_map(|(plot, _)| values.get(*plot).copied()).collect();
        let moved: Vec<f64> = pairs.iter().filter_map(|(_, reading)| values.get(*reading).copied()).collect();
        let (Some(given), Some(moved)) =
            (Additive::fit(&treatments, &blocks, &given), Additive::fit(&treatments, &blocks, &moved))
        else {
            continue;
        };
        let degrees = given.df() as f64;
        let (Some(given), Some(other), true) = (given.variance(), moved.variance(), moved.df() >= FEWEST_DEGREES)
        else {
            continue;
        };
        // Values that fit exactly have no scatter to compare.
        if other <= 0.0 {
            continue;
        }
        let Some(p) = f_survival(given / other, degrees, degrees) else { continue };
        if p * tried < ALPHA && best.as_ref().is_none_or(|(least, _)| p < *least) {
            best = Some((p, Better { order, given: given.sqrt(), other: other.sqrt() }));
        }
    }
    best.map(|(_, better)| better)
}

/// Readings that fit the treatments far better moved by one to three plots, from last to first, or with every second block turned. Said
/// with how much better; never reordered.
pub(super) fn out_of_order(view: &View<'_>, sensed: &Sensed) -> Option<Finding> {
    let (treatments, strata) = (view.treatments(), view.strata());
    let level =
        |levels: &[usize]| sensed.reads.iter().filter_map(|read| levels.get(read.plot).copied()).collect::<Vec<_>>();
    let values: Vec<f64> = sensed.reads.iter().map(Read::mean).collect();
    let better = better_order(&level_indices(&level(&treatments)), &level(&strata), &values)?;
    let first = sensed.reads.first()?;
    let text = format!(
        "the {} fit the treatments far better {}: the residual SD of treatment and block is then {}, and {} as they stand",
        sensed.label(),
        better.order.words(),
        rounded(better.other),
        rounded(better.given)
    );
    let remedy = if sensed.walked {
        "check the plot that the walk began at and its turns; the readings were left as they are"
    } else {
        "check whether the readings slipped against their plots in the file; they were left as they are"
    };
    Some(Finding::warning("readings-out-of-order", first.place(view), text).remedy(remedy))
}

#[cfg(test)]
mod tests {
    use rand_distr::{Distribution, Normal};

    use super::*;
    use crate::stats::stream::stream;
    use rand::seq::SliceRandom;

    /// A trial of `levels` treatments in 4 blocks, read with a response from lowest to highest level of so many residual SDs.
    fn trial(seed: u64, levels: usize, response: f64) -> (Vec<usize>, Vec<usize>, Vec<f64>) {
        let mut chance = stream(1907, seed);
        let normal = Normal::new(0.0, 1.0).unwrap();
        let (mut treatments, mut blocks, mut values) = (Vec::new(), Vec::new(), Vec::new());
        for block in 0..4 {
            let mut order: Vec<usize> = (0..levels).collect();
            order.shuffle(&mut chance);
            let shift: f64 = normal.sample(&mut chance);
            for level in order {
                treatments.push(level);
                blocks.push(block);
                // A response that flattens, as readings do.
                let share = level as f64 / (levels - 1) as f64;
                values.push(shift + response * (2.0 - share) * share + normal.sample(&mut chance));
            }
        }
        (treatments, blocks, values)
    }

    /// How many of `trials` are told, after `moved` has moved the readings.
    fn told(trials: u64, levels: usize, response: f64, moved: impl Fn(&mut Vec<f64>)) -> Vec<Order> {
        let orders = (0..trials).filter_map(|seed| {
            let (treatments, blocks, mut values) = trial(seed, levels, response);
            moved(&mut values);
            better_order(&treatments, &blocks, &values).map(|better| better.order)
        });
        orders.collect()
    }

    #[test]
    fn fewer_than_one_sound_trial_in_a_thousand_is_told() {
        // 4 000 trials, from no response to a large one: fewer than 4 may be told.
        let told: usize = [0.0, 2.0, 5.0, 10.0].map(|response| told(1_000, 6, response, |_| ()).len()).iter().sum();
        assert!(told < 4, "{told}");
    }

    #[test]
    fn readings_moved_by_a_plot_are_told_in_nine_trials_of_ten_where_n_is_clearly_seen() {
        let found = told(200, 6, 10.0, |values| values.rotate_left(1));
        let right = found.iter().filter(|order| **order == Order::Later(1)).count();
        assert!(right > 180, "{right} of 200");
        let found = told(200, 6, 10.0, |values| values.reverse());
        let right = found.iter().filter(|order| **order == Order::Reversed).count();
        assert!(right > 180, "{right} of 200 reversed");
    }

    #[test]
    fn readings_of_a_serpentine_written_straight_are_told() {
        let turn = |values: &mut Vec<f64>| values.chunks_mut(6).skip(1).step_by(2).for_each(<[f64]>::reverse);
        let found = told(100, 6, 20.0, turn);
        let right = found.iter().filter(|order| **order == Order::Serpentine { from_second: true }).count();
        assert!(right > 80, "{right} of 100");
    }

    #[test]
    fn each_order_pairs_plots_with_readings() {
        let blocks = [0, 0, 0, 1, 1, 1];
        assert_eq!(Order::Later(2).pairs(&blocks), [(2, 0), (3, 1), (4, 2), (5, 3)]);
        assert_eq!(Order::Earlier(2).pairs(&blocks), [(0, 2), (1, 3), (2, 4), (3, 5)]);
        assert_eq!(Order::Reversed.pairs(&blocks).first(), Some(&(0, 5)));
        assert_eq!(
            Order::Serpentine { from_second: true }.pairs(&blocks),
            [(0, 0), (1, 1), (2, 2), (3, 5), (4, 4), (5, 3)]
        );
    }
}
