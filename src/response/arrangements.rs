//! The ways in which yields could have fallen on the plots, had the rates done nothing.

use super::observations::Observations;
use crate::stats::stream::stream;
use rand::seq::SliceRandom;

/// Arrangements of the yields over the plots within each group: all of them, or a sample.
///
/// Two arrangements are the same if every rate has the same yields in every group.
pub(super) struct Arrangements<'a> {
    yields: &'a [f64],
    groups: Vec<Group>,
    /// How many there are, where that is no more than were to be drawn.
    all: Option<usize>,
    draws: usize,
    seed: u64,
}

/// The plots of a group.
struct Group {
    members: Vec<usize>,
    /// The same by rate.
    by_rate: Vec<Vec<usize>>,
}

impl<'a> Arrangements<'a> {
    /// All of them where they are at most `draws`, else as many draws.
    pub fn new(observations: &'a Observations, draws: usize, seed: u64) -> Self {
        let mut groups: Vec<Group> = Vec::new();
        groups.resize_with(observations.groups(), || Group { members: Vec::new(), by_rate: Vec::new() });
        let rates = observations.rates().len();
        for (plot, (group, rate)) in observations.group_of().iter().zip(observations.rate_of()).enumerate() {
            let Some(group) = groups.get_mut(*group) else { continue };
            group.members.push(plot);
            group.by_rate.resize_with(rates, Vec::new);
            if let Some(plots) = group.by_rate.get_mut(*rate) {
                plots.push(plot);
            }
        }
        let all = groups.iter().try_fold(1_usize, |product, group| {
            let product = product.checked_mul(arrangements(&group.counts(), draws)?)?;
            (product <= draws).then_some(product)
        });
        Self { yields: observations.centred(), groups, all, draws, seed }
    }

    /// Whether these are all there are, the observed one among them.
    pub fn exhaustive(&self) -> bool {
        self.all.is_some()
    }

    pub fn count(&self) -> usize {
        self.all.unwrap_or(self.draws)
    }

    /// Writes the arrangement of an index below [`count`](Self::count), yields centred by group.
    pub fn arrange(&self, index: usize, arranged: &mut [f64]) {
        if self.exhaustive() {
            self.enumerated(index, arranged);
        } else {
            self.drawn(index, arranged);
        }
    }

    fn drawn(&self, index: usize, arranged: &mut [f64]) {
        let mut rng = stream(self.seed, index as u64);
        for group in &self.groups {
            let mut within: Vec<f64> = group.members.iter().map(|member| self.yields[*member]).collect();
            within.shuffle(&mut rng);
            group.members.iter().zip(within).for_each(|(member, value)| arranged[*member] = value);
        }
    }

    /// The index has a digit for each group: the rank of its arrangement among words whose letters are the rates.
    fn enumerated(&self, mut index: usize, arranged: &mut [f64]) {
        for group in &self.groups {
            let mut left = group.counts();
            let mut ways = arrangements(&left, usize::MAX).unwrap_or(1);
            let mut rank = index % ways;
            index /= ways;
            for (position, member) in group.members.iter().enumerate() {
                let open = group.members.len() - position;
                for (rate, plots) in group.by_rate.iter().enumerate() {
                    let starting_so = ways * left[rate] / open;
                    if rank < starting_so {
                        left[rate] -= 1;
                        arranged[plots[left[rate]]] = self.yields[*member];
                        ways = starting_so;
                        break;
                    }
                    rank -= starting_so;
                }
            }
        }
    }
}

impl Group {
    fn counts(&self) -> Vec<usize> {
        self.by_rate.iter().map(Vec::len).collect()
    }
}

/// n!/(n₁!·n₂!·…), or `None` where that is above `most`.
fn arrangements(counts: &[usize], most: usize) -> Option<usize> {
    let (mut ways, mut placed) = (1_u128, 0_u128);
    for count in counts {
        for own in 1..=*count as u128 {
            placed += 1;
            // So far a product of binomials, which grows with every plot and is whole at every step.
            ways = ways * placed / own;
            if ways > most as u128 {
                return None;
            }
        }
    }
    usize::try_from(ways).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_arrangement_is_made_once() {
        // Blocks of 3 and 2 plots with rates (0, 0, 1) and (0, 1): 3 × 2 ways.
        let observations =
            Observations::new(&[0.0, 0.0, 1.0, 0.0, 1.0], &[1.0, 2.0, 4.0, 8.0, 16.0], Some(&[0, 0, 0, 1, 1])).unwrap();
        let arrangements = Arrangements::new(&observations, 6, 1);
        assert!(arrangements.exhaustive());
        let mut seen = BTreeSet::new();
        for index in 0..arrangements.count() {
            let mut yields = [0.0; 5];
            arrangements.arrange(index, &mut yields);
            let mut sorted = yields;
            sorted[..2].sort_by(f64::total_cmp);
            seen.insert(sorted.map(|value| (value * 1e6).round() as i64));
            let mut all = yields.to_vec();
            let mut centred = observations.centred().to_vec();
            all.sort_by(f64::total_cmp);
            centred.sort_by(f64::total_cmp);
            assert_eq!(all, centred);
        }
        assert_eq!((seen.len(), arrangements.count()), (6, 6));
        assert!(!Arrangements::new(&observations, 5, 1).exhaustive());
    }

    #[test]
    fn arrangements_are_multinomial() {
        assert_eq!(arrangements(&[2, 1, 1], 99), Some(12));
        assert_eq!(arrangements(&[4, 4, 4], usize::MAX), Some(34_650));
        assert_eq!(arrangements(&[40; 40], 1_999), None);
    }
}
