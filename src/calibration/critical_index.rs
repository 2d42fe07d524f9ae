//! The index as a classifier: below a critical index N is needed, above it none is.
//!
//! A treatment is *deficient* where its N need exceeds a threshold (0: any N pays), *sufficient* where it does not; a need that is a bound
//! on both sides of the threshold is *undecided* and counted. What the index tells is the chance that a deficient treatment has a lower
//! index than a sufficient one, ties by half: the area under the receiver operating characteristic (Mann & Whitney 1947; Hanley & McNeil
//! 1982, both from memory). The critical index is the one that maximises Youden's J = sensitivity + specificity − 1 (Youden 1950, *Cancer*
//! 3:32-35, from memory), which also maximises the balanced accuracy (J + 1) ÷ 2.
//!
//! Treatments of a site-year resemble one another. Intervals therefore come from whole resampled site-years, and what the critical
//! index is worth from site-years that had no part in choosing it. Counts are of treatments.

mod curve;

use std::collections::BTreeMap;

use rand::RngExt as _;
use rayon::prelude::*;

pub use curve::CutOff;
use curve::{Characteristic, Labelled};

use super::{FEWEST_SITE_YEARS, NeedPoint};
use crate::response::OptimumStatus;
use crate::stats::interval::{Interval, Resamples};
use crate::stats::quantile::quantile;
use crate::stats::stream::stream;

/// How the intervals are made.
pub const RESAMPLED_SITE_YEARS: &str = "percentiles of resampled site-years";

/// What is known of one treatment of a site-year.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassRow {
    /// Site and harvest year.
    pub site_year: String,
    /// Mean index.
    pub index: f64,
    /// The N need is at least this, in the rate unit; −∞ where it is only bounded above.
    pub lowest_need: f64,
    /// The N need is at most this, in the rate unit; +∞ where it is only bounded below. Equal to `lowest_need` where it is known.
    pub highest_need: f64,
    /// Whether the trial shows a response to N; one that is not shown counts as none, as is common practice, and is counted.
    pub is_shown: bool,
}

impl ClassRow {
    /// A calibration point: its need as estimated, a bound where the optimum is one.
    #[must_use]
    pub fn of_point(point: &NeedPoint) -> Self {
        let (lowest_need, highest_need) = match point.optimum_status {
            OptimumStatus::Interior | OptimumStatus::NotShown => (point.need, point.need),
            OptimumStatus::AtHighestTestedRate => (point.need, f64::INFINITY),
            OptimumStatus::AtZero | OptimumStatus::BeforeFirstRate => (f64::NEG_INFINITY, point.need),
            OptimumStatus::NotEstimable => (f64::NEG_INFINITY, f64::INFINITY),
        };
        Self {
            site_year: point.site_year.clone(),
            index: point.index,
            lowest_need,
            highest_need,
            is_shown: point.optimum_status != OptimumStatus::NotShown,
        }
    }
}

/// How the classifier is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassOptions {
    /// N need above which a treatment is deficient, in the rate unit.
    pub threshold: f64,
    /// Level of the intervals.
    pub level: f64,
    /// Resamples of site-years.
    pub replicates: u64,
    /// Seed of the resamples.
    pub seed: u64,
}

/// Treatments by what they are and by the side of the critical index that they lie on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Confusion {
    /// Deficient and below: rightly called deficient.
    pub deficient_below: usize,
    /// Deficient, but not below: missed.
    pub deficient_above: usize,
    /// Sufficient, but below: N that was not needed.
    pub sufficient_below: usize,
    /// Sufficient and not below: rightly left.
    pub sufficient_above: usize,
}

impl Confusion {
    /// Share of the deficient that lie below; `None` without any.
    #[must_use]
    pub fn sensitivity(&self) -> Option<f64> {
        share(self.deficient_below, self.deficient_below + self.deficient_above)
    }

    /// Share of the sufficient that do not lie below; `None` without any.
    #[must_use]
    pub fn specificity(&self) -> Option<f64> {
        share(self.sufficient_above, self.sufficient_below + self.sufficient_above)
    }

    /// Share of all that are called rightly; `None` without any.
    #[must_use]
    pub fn accuracy(&self) -> Option<f64> {
        share(self.deficient_below + self.sufficient_above, self.total())
    }

    /// Mean of sensitivity and specificity; `None` without both classes.
    #[must_use]
    pub fn balanced_accuracy(&self) -> Option<f64> {
        Some((self.sensitivity()? + self.specificity()?) / 2.0)
    }

    /// How many treatments.
    #[must_use]
    pub fn total(&self) -> usize {
        self.deficient_below + self.deficient_above + self.sufficient_below + self.sufficient_above
    }

    fn of<'a>(rows: impl IntoIterator<Item = &'a Labelled>, critical: f64) -> Self {
        let mut counts = Self::default();
        for row in rows {
            *match (row.deficient, row.index < critical) {
                (true, true) => &mut counts.deficient_below,
                (true, false) => &mut counts.deficient_above,
                (false, true) => &mut counts.sufficient_below,
                (false, false) => &mut counts.sufficient_above,
            } += 1;
        }
        counts
    }

    fn plus(self, other: Self) -> Self {
        Self {
            deficient_below: self.deficient_below + other.deficient_below,
            deficient_above: self.deficient_above + other.deficient_above,
            sufficient_below: self.sufficient_below + other.sufficient_below,
            sufficient_above: self.sufficient_above + other.sufficient_above,
        }
    }
}

fn share(part: usize, of: usize) -> Option<f64> {
    (of > 0).then(|| part as f64 / of as f64)
}

/// Why an index can't be judged as a classifier.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoClassifier {
    /// NaN or an infinite index, NaN for a need, or a need whose lowest exceeds its highest.
    #[error("a treatment of {site_year} has an index that is not a number, or a need that is none")]
    NotANumber {
        /// Its site-year.
        site_year: String,
    },
    /// No treatment needs N beyond the threshold.
    #[error(
        "none of {decided} treatments is known to need more than {threshold} of N: there are no deficient ones to tell from the rest"
    )]
    NoneDeficient {
        /// Treatments whose class is known.
        decided: usize,
        /// The threshold.
        threshold: f64,
    },
    /// Every treatment needs N beyond the threshold.
    #[error(
        "all of {decided} treatments need more than {threshold} of N: there are no sufficient ones to tell from the rest"
    )]
    NoneSufficient {
        /// Treatments whose class is known.
        decided: usize,
        /// The threshold.
        threshold: f64,
    },
}

/// Why there is no critical index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoCriticalIndex {
    /// Wherever one divides, at least as large a share of the sufficient as of the deficient lies below.
    #[error("at no index are the deficient below more often than the sufficient")]
    NotSeparated,
    /// The other site-years hold no deficient treatment, or no sufficient one.
    #[error("the other site-years do not hold both deficient and sufficient treatments")]
    OneClass,
}

/// A critical index.
#[derive(Clone, Debug, PartialEq)]
pub struct CriticalIndex {
    /// Below it N is needed: midway between the two neighbouring indices that it parts; with the interval from site-years.
    pub index: Interval,
    /// The highest index below it.
    pub last_below: f64,
    /// The lowest index above it: any critical index between these two parts the treatments alike.
    pub first_above: f64,
    /// Youden's J on the treatments that it was chosen from.
    pub youden: f64,
    /// Those treatments: too kind, because it was chosen for them.
    pub own: Confusion,
    /// Every site-year by the critical index that the others give.
    pub held_out: Vec<HeldOutClass>,
    /// All of those together.
    pub held_out_total: Confusion,
}

/// A site-year, classified by the others.
#[derive(Clone, Debug, PartialEq)]
pub struct HeldOutClass {
    /// The site-year.
    pub site_year: String,
    /// The critical index of the others with its counts here, or why they give none.
    pub outcome: Result<(f64, Confusion), NoCriticalIndex>,
}

/// What the index tells of whether N is needed.
#[derive(Clone, Debug, PartialEq)]
pub struct Classifier {
    /// N need above which a treatment is deficient, in the rate unit.
    pub threshold: f64,
    /// Deficient treatments.
    pub deficient: usize,
    /// Sufficient treatments.
    pub sufficient: usize,
    /// Those of the sufficient whose response is only not shown: in a larger trial some of them may turn out deficient.
    pub not_shown: usize,
    /// Treatments whose need may lie on either side of the threshold: left out.
    pub undecided: usize,
    /// Site-years of those whose class is known.
    pub site_years: usize,
    /// The chance that a deficient treatment has a lower index than a sufficient one, ties by half: ½ is no better than chance.
    pub area: Interval,
    /// What each critical index would give, by rising index: the receiver operating characteristic.
    pub cut_offs: Vec<CutOff>,
    /// The best of them, or why there is none.
    pub critical: Result<CriticalIndex, NoCriticalIndex>,
}

impl Classifier {
    /// Judges the index as a classifier.
    ///
    /// # Errors
    /// [`NoClassifier`].
    pub fn of(rows: &[ClassRow], options: &ClassOptions) -> Result<Self, NoClassifier> {
        let mut by_site_year: BTreeMap<&str, Vec<Labelled>> = BTreeMap::new();
        let (mut undecided, mut not_shown) = (0, 0);
        for row in rows {
            // Written so that NaN fails.
            if !(row.index.is_finite() && row.lowest_need <= row.highest_need) {
                return Err(NoClassifier::NotANumber { site_year: row.site_year.clone() });
            }
            let deficient = row.lowest_need > options.threshold;
            if deficient || row.highest_need <= options.threshold {
                not_shown += usize::from(!deficient && !row.is_shown);
                by_site_year.entry(&row.site_year).or_default().push(Labelled { index: row.index, deficient });
            } else {
                undecided += 1;
            }
        }
        let all: Vec<Labelled> = by_site_year.values().flatten().copied().collect();
        let deficient = all.iter().filter(|row| row.deficient).count();
        let (decided, threshold) = (all.len(), options.threshold);
        if deficient == 0 {
            return Err(NoClassifier::NoneDeficient { decided, threshold });
        }
        let Some(characteristic) = Characteristic::of(&all) else {
            return Err(NoClassifier::NoneSufficient { decided, threshold });
        };
        let resampled = Resampled::draw(&by_site_year, options);
        let critical = characteristic.best().map(|cut| critical(cut, &by_site_year, resampled.as_ref(), options));
        Ok(Self {
            threshold,
            deficient,
            sufficient: decided - deficient,
            not_shown,
            undecided,
            site_years: by_site_year.len(),
            area: interval(characteristic.area(), resampled.as_ref().map(|all| &all.areas), options),
            cut_offs: characteristic.cut_offs,
            critical: critical.ok_or(NoCriticalIndex::NotSeparated),
        })
    }
}

/// Of resampled site-years.
struct Resampled {
    /// One a replicate; `None` where it held one class only.
    areas: Vec<Option<f64>>,
    /// One a replicate; `None` where it gave none.
    critical: Vec<Option<f64>>,
}

impl Resampled {
    /// `None` where there are too few site-years.
    fn draw(by_site_year: &BTreeMap<&str, Vec<Labelled>>, options: &ClassOptions) -> Option<Self> {
        let site_years: Vec<&Vec<Labelled>> = by_site_year.values().collect();
        if site_years.len() < FEWEST_SITE_YEARS {
            return None;
        }
        let replicate = |replicate: u64| {
            let mut random = stream(options.seed, replicate);
            let drawn = (0..site_years.len()).map(|_| random.random_range(0..site_years.len()));
            let rows: Vec<Labelled> =
                drawn.filter_map(|position| site_years.get(position)).flat_map(|rows| rows.iter().copied()).collect();
            let characteristic = Characteristic::of(&rows);
            let critical = characteristic.as_ref().and_then(|all| Some(all.best()?.index));
            (characteristic.map(|all| all.area()), critical)
        };
        let (areas, critical) = (0..options.replicates).into_par_iter().map(replicate).unzip();
        Some(Self { areas, critical })
    }
}

/// The percentile interval of what resamples gave.
fn interval(estimate: f64, resampled: Option<&Vec<Option<f64>>>, options: &ClassOptions) -> Interval {
    let refused = |reason: &str| Interval::refused(Some(estimate), options.level, RESAMPLED_SITE_YEARS, reason);
    let Some(resampled) = resampled else { return refused("too few site-years to resample") };
    let mut found: Vec<f64> = resampled.iter().flatten().copied().collect();
    found.sort_by(f64::total_cmp);
    if found.first() == found.last() {
        // A complete separation, say: that resamples agree does not make it certain.
        return refused("every resample gives the same");
    }
    let tail = (1.0 - options.level) / 2.0;
    let ends = (quantile(&found, tail), quantile(&found, 1.0 - tail));
    Interval {
        resamples: Some(Resamples { attempted: resampled.len(), failed: resampled.len() - found.len() }),
        ..Interval::between(Some(estimate), ends.0, ends.1, options.level, RESAMPLED_SITE_YEARS)
    }
}

fn critical(
    cut: &CutOff,
    by_site_year: &BTreeMap<&str, Vec<Labelled>>,
    resampled: Option<&Resampled>,
    options: &ClassOptions,
) -> CriticalIndex {
    let held_out: Vec<HeldOutClass> = by_site_year
        .iter()
        .map(|(site_year, rows)| {
            let others: Vec<Labelled> = by_site_year
                .iter()
                .filter(|(other, _)| *other != site_year)
                .flat_map(|(_, rows)| rows.iter().copied())
                .collect();
            let outcome = Characteristic::of(&others)
                .ok_or(NoCriticalIndex::OneClass)
                .and_then(|all| all.best().map(|cut| cut.index).ok_or(NoCriticalIndex::NotSeparated))
                .map(|index| (index, Confusion::of(rows, index)));
            HeldOutClass { site_year: (*site_year).to_owned(), outcome }
        })
        .collect();
    let classified = held_out.iter().filter_map(|one| one.outcome.as_ref().ok());
    CriticalIndex {
        index: interval(cut.index, resampled.map(|all| &all.critical), options),
        last_below: cut.last_below,
        first_above: cut.first_above,
        youden: cut.youden(),
        own: cut.counts,
        held_out_total: classified.fold(Confusion::default(), |total, (_, counts)| total.plus(*counts)),
        held_out,
    }
}

#[cfg(test)]
mod tests;
