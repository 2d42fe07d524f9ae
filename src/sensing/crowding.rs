//! Crowding: a canopy so closed near the reference that its NDVI no longer answers to N.
//!
//! Plot means are fitted as level of N + block. The slope of the index on N is a contrast of the level means, once over the upper levels,
//! the reference among them, and once over the lower ones; both share the level in the middle. A canopy index is crowded where it answers
//! to N below and no longer above, by slopes that differ by more than chance, and its reference reads as high as closed
//! canopies do. A crop that has enough N looks the same. A leaf meter on the same plots tells the two apart, where one was read: if its index
//! still rises over the upper levels the canopy is crowded, otherwise that is not shown.

use super::level_fit::{Contrast, LevelFit};
use crate::stats::interval::Interval;

/// NDVI of closed canopies: from here on more leaf hardly shows (common practice: NDVI crowds between 0.8 and 0.9).
pub const CROWDING_NDVI: f64 = 0.80;
/// Slopes are steeper than none, and differ, where chance gives as much this rarely.
const ALPHA: f64 = 0.05;
/// Fewer levels have no upper and lower part with a level in common.
const FEWEST_LEVELS: usize = 3;

/// How an index answers to N over some of the levels.
#[derive(Clone, Debug, PartialEq)]
pub struct IndexSlope {
    /// Lowest and highest level of N, in the rate unit.
    pub over: [f64; 2],
    /// Index a rate unit, blocks removed, with its t interval.
    pub slope: Interval,
    /// Two-sided p of no slope.
    pub p: f64,
}

impl IndexSlope {
    /// Whether the index rises with N by more than chance.
    #[must_use]
    pub fn rises(&self) -> bool {
        self.p <= ALPHA && self.slope.estimate.is_some_and(|slope| slope > 0.0)
    }
}

/// What can be said of crowding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Crowded {
    /// It no longer answers to N near the reference, which reads as high as closed canopies do, while it does below, or leaves still do.
    Yes,
    /// The reference reads as high as closed canopies do and no slope is shown near it, but nothing shows that the crop still answers.
    Perhaps,
    /// It still answers to N near the reference, or its reference reads below closed canopies.
    No,
    /// Too few levels of N to tell.
    CannotTell,
}

impl Crowded {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Yes => "crowded",
            Self::Perhaps => "perhaps",
            Self::No => "not-crowded",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// Crowding of one variety on one date.
#[derive(Clone, Debug, PartialEq)]
pub struct Crowding {
    /// Variety, where references are of varieties.
    pub variety: Option<String>,
    /// What can be said.
    pub crowded: Crowded,
    /// Mean NDVI of the reference.
    pub reference: f64,
    /// Slope of the index over the lower levels of N.
    pub lower: Option<IndexSlope>,
    /// Slope over the upper levels, the reference among them.
    pub upper: Option<IndexSlope>,
    /// Two-sided p of no difference between the two slopes.
    pub bend_p: Option<f64>,
    /// Slope of a leaf meter's index over the same upper levels within a few days, where one was read.
    pub leaf_upper: Option<IndexSlope>,
}

impl Crowding {
    /// Judges a fit of canopy readings; `leaf` is that of a leaf meter on the same plots. `reference` is the mean NDVI of the reference.
    pub(super) fn of(
        variety: Option<String>,
        reference: f64,
        canopy: Option<&LevelFit>,
        leaf: Option<(&LevelFit, f64)>,
        level: f64,
    ) -> Self {
        let is_high = reference >= CROWDING_NDVI;
        let nothing = Self {
            variety,
            crowded: if is_high { Crowded::Perhaps } else { Crowded::CannotTell },
            reference,
            lower: None,
            upper: None,
            bend_p: None,
            leaf_upper: None,
        };
        let Some(fit) = canopy.filter(|fit| fit.levels.len() >= FEWEST_LEVELS) else { return nothing };
        let (middle, last) = (fit.levels.len() / 2, fit.levels.len() - 1);
        let (below, above) = (fit.slope(0, middle), fit.slope(middle, last));
        let lower = slope(fit, &below, [0, middle], reference, level);
        let upper = slope(fit, &above, [middle, last], reference, level);
        let bend: Vec<f64> = below.iter().zip(&above).map(|(below, above)| below - above).collect();
        let bend = fit.contrast(&bend).filter(|bend| bend.standard_error > 0.0);
        let leaf_upper = leaf.and_then(|(leaf, reference)| {
            let position = |level: usize| {
                let wanted = fit.levels.get(level)?;
                leaf.levels.iter().position(|own| own.n == wanted.n && own.is_reference == wanted.is_reference)
            };
            let [from, to] = [position(middle)?, position(last)?];
            slope(leaf, &leaf.slope(from, to), [from, to], reference, level)
        });
        let bends = bend.is_some_and(|bend| bend.estimate > 0.0 && bend.p().is_some_and(|p| p <= ALPHA));
        let answers_below = lower.as_ref().is_some_and(IndexSlope::rises) && bends;
        // Where a leaf meter sees no change either, the crop may simply have had enough.
        let leaf_answers = leaf_upper.as_ref().map(IndexSlope::rises);
        let crowded = match &upper {
            None => nothing.crowded,
            Some(upper) if upper.rises() || !is_high => Crowded::No,
            Some(_) if leaf_answers.unwrap_or(answers_below) => Crowded::Yes,
            Some(_) => Crowded::Perhaps,
        };
        Self { crowded, lower, upper, bend_p: bend.and_then(|bend| bend.p()), leaf_upper, ..nothing }
    }
}

fn slope(fit: &LevelFit, weights: &[f64], [first, last]: [usize; 2], reference: f64, level: f64) -> Option<IndexSlope> {
    let contrast: Contrast = fit.contrast(weights).filter(|contrast| contrast.standard_error > 0.0)?;
    let over = [fit.levels.get(first)?.n, fit.levels.get(last)?.n];
    Some(IndexSlope { over, slope: contrast.interval(level, 1.0 / reference), p: contrast.p()? })
}
