//! What every critical index would give.
//!
//! linfa walks the characteristic. It takes scores in f32, loses the first corner of the curve to a score of 0 and gives the counts as
//! shares in f32: it gets the *rank* of each index among the distinct ones, from 1, as the score, and its shares are turned back into
//! the whole numbers that they are shares of. The area is then counted in whole numbers. Those counts are the confusion matrices too:
//! linfa's own keeps its cells to itself.

use linfa::dataset::Pr;
use linfa::metrics::BinaryClassification as _;

use super::Confusion;

/// A treatment whose class is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Labelled {
    pub(super) index: f64,
    pub(super) deficient: bool,
}

/// A critical index between two neighbouring indices, and what it gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CutOff {
    /// The critical index, midway between the two.
    pub index: f64,
    /// The highest index below it.
    pub last_below: f64,
    /// The lowest index that is not below it.
    pub first_above: f64,
    /// What it gives.
    pub counts: Confusion,
}

impl CutOff {
    /// Youden's J; 0 without both classes.
    #[must_use]
    pub fn youden(&self) -> f64 {
        let (sensitivity, specificity) = (self.counts.sensitivity(), self.counts.specificity());
        sensitivity.zip(specificity).map_or(0.0, |(sensitivity, specificity)| sensitivity + specificity - 1.0)
    }

    /// J times the number of deficient and of sufficient treatments, a whole number: equal ones are equal.
    fn youden_counted(&self) -> i128 {
        let Confusion { deficient_below, deficient_above, sufficient_below, sufficient_above } = self.counts;
        let whole = |count: usize| count as i128;
        whole(deficient_below) * whole(sufficient_below + sufficient_above)
            - whole(sufficient_below) * whole(deficient_below + deficient_above)
    }
}

/// The receiver operating characteristic of treatments of both classes.
pub(super) struct Characteristic {
    deficient: usize,
    sufficient: usize,
    /// Between neighbouring distinct indices, rising.
    pub(super) cut_offs: Vec<CutOff>,
}

impl Characteristic {
    /// `None` without both classes.
    pub(super) fn of(rows: &[Labelled]) -> Option<Self> {
        let deficient = rows.iter().filter(|row| row.deficient).count();
        let sufficient = rows.len() - deficient;
        if deficient == 0 || sufficient == 0 {
            return None;
        }
        let mut distinct: Vec<f64> = rows.iter().map(|row| row.index).collect();
        distinct.sort_by(f64::total_cmp);
        distinct.dedup();
        // f32 tells whole numbers apart to sixteen million, more than any programme has treatments.
        let rank = |row: &Labelled| distinct.partition_point(|index| *index < row.index) + 1;
        let scores: Vec<Pr> = rows.iter().map(|row| Pr::new_unchecked(rank(row) as f32)).collect();
        let classes: Vec<bool> = rows.iter().map(|row| row.deficient).collect();
        let corners = scores.as_slice().roc(&classes).ok()?.get_curve();
        let counted = |share: f32, of: usize| (f64::from(share) * of as f64).round() as usize;
        // The first corner lies below every index, the last above.
        let cut_offs = corners.into_iter().skip(1).zip(distinct.windows(2)).filter_map(|(corner, neighbours)| {
            let [last_below, first_above] = *neighbours else { return None };
            let (deficient_below, sufficient_below) = (counted(corner.0, deficient), counted(corner.1, sufficient));
            let middle = f64::midpoint(last_below, first_above);
            Some(CutOff {
                // Between neighbouring numbers there is none: then the upper one.
                index: if middle > last_below { middle } else { first_above },
                last_below,
                first_above,
                counts: Confusion {
                    deficient_below,
                    deficient_above: deficient - deficient_below,
                    sufficient_below,
                    sufficient_above: sufficient - sufficient_below,
                },
            })
        });
        Some(Self { deficient, sufficient, cut_offs: cut_offs.collect() })
    }

    /// The chance that a deficient treatment has a lower index than a sufficient one, ties by half.
    ///
    /// Each deficient treatment counts the sufficient ones above it twice, those with its own index once.
    pub(super) fn area(&self) -> f64 {
        let corners = self.cut_offs.iter().map(|cut| (cut.counts.deficient_below, cut.counts.sufficient_below));
        let (mut halves, mut before) = (0_u128, (0, 0));
        for corner in corners.chain([(self.deficient, self.sufficient)]) {
            let above = 2 * self.sufficient - before.1 - corner.1;
            halves += (corner.0 - before.0) as u128 * above as u128;
            before = corner;
        }
        halves as f64 / (2.0 * self.deficient as f64 * self.sufficient as f64)
    }

    /// The cut-off with the largest J above 0: of equal ones that between the indices furthest apart (to a billionth), then the lowest.
    pub(super) fn best(&self) -> Option<&CutOff> {
        let rank = |cut: &CutOff| (cut.youden_counted(), ((cut.first_above - cut.last_below) * 1e9).round());
        let separating = self.cut_offs.iter().filter(|cut| cut.youden_counted() > 0);
        separating.reduce(|best, cut| if rank(cut) > rank(best) { cut } else { best })
    }
}
