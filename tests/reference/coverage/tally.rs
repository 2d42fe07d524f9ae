//! What intervals of many trials did.

use stook::response::{Bootstrap, BootstrapLimits, IntervalMethod, Resampling};
use stook::stats::interval::{Interval, Limits};

/// Which curve an interval is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fitted {
    /// The family of the truth.
    TruthsFamily,
    /// The family that the optimum is read from.
    Chosen,
    /// The same, in trials with a detected response only.
    ChosenDetected,
}

impl Fitted {
    pub fn name(self) -> &'static str {
        match self {
            Self::TruthsFamily => "the truth's family",
            Self::Chosen => "chosen",
            Self::ChosenDetected => "chosen, detected",
        }
    }
}

/// What an interval is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    Join,
    Optimum,
}

impl Of {
    pub fn name(self) -> &'static str {
        match self {
            Self::Join => "join",
            Self::Optimum => "EONR",
        }
    }
}

/// How an interval is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Of one curve.
    Of(IntervalMethod),
    /// From the lowest to the highest limit of the profile intervals of all families that an optimum is read from and whose AICc is at most
    /// so much above the smallest; whatever it is where `None`.
    Families { within: Option<u32> },
    /// Of the optimum averaged over families, residuals resampled and families weighed anew.
    Average(Bootstrap),
}

impl Method {
    pub fn name(self) -> String {
        match self {
            Self::Of(IntervalMethod::Bootstrap(how)) => {
                let resampled = match how.resampling {
                    Resampling::Residuals => "residuals",
                    Resampling::Blocks => "blocks",
                    Resampling::Wild => "wild",
                };
                let limits = match how.limits {
                    BootstrapLimits::Percentile => "percentile",
                    BootstrapLimits::Bca => "BCa",
                };
                format!("bootstrap {resampled} {limits}")
            }
            Self::Of(method) => method.name().to_owned(),
            Self::Average(_) => "average over families".to_owned(),
            Self::Families { within: Some(within) } => format!("families within {within}"),
            Self::Families { within: None } => "every family".to_owned(),
        }
    }
}

/// One line of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    pub fitted: Fitted,
    pub method: Method,
    pub of: Of,
}

/// Counts of one line over trials.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub trials: usize,
    pub covered: usize,
    /// Trials whose interval lies wholly above the truth, and wholly below it; a gap between pieces counts as neither.
    pub above: usize,
    pub below: usize,
    pub open_below: usize,
    pub open_above: usize,
    pub open: usize,
    pub disjoint: usize,
    pub not_computed: usize,
    pub not_shown: usize,
    /// Of intervals with both ends.
    widths: Vec<f64>,
}

impl Tally {
    /// Counts one interval; `None` where there was no curve to make one of.
    pub fn count(&mut self, interval: Option<&Interval>, truth: f64, shown: bool) {
        self.trials += 1;
        self.not_shown += usize::from(!shown);
        let Some(interval) = interval.filter(|interval| interval.limits != Limits::NotComputed) else {
            self.not_computed += 1;
            return;
        };
        // An open end holds everything on its side.
        let holds = |[low, high]: &[Option<f64>; 2]| {
            low.is_none_or(|low| low <= truth) && high.is_none_or(|high| truth <= high)
        };
        self.covered += usize::from(interval.segments.iter().any(holds));
        self.above += usize::from(interval.low.is_some_and(|low| truth < low));
        self.below += usize::from(interval.high.is_some_and(|high| high < truth));
        match interval.limits {
            Limits::OpenBelow => self.open_below += 1,
            Limits::OpenAbove => self.open_above += 1,
            Limits::Open => self.open += 1,
            Limits::Disjoint => self.disjoint += 1,
            Limits::Both | Limits::NotComputed => {}
        }
        self.widths.extend(interval.low.zip(interval.high).map(|(low, high)| high - low));
    }

    pub fn merge(mut self, other: Self) -> Self {
        self.trials += other.trials;
        self.covered += other.covered;
        self.above += other.above;
        self.below += other.below;
        self.open_below += other.open_below;
        self.open_above += other.open_above;
        self.open += other.open;
        self.disjoint += other.disjoint;
        self.not_computed += other.not_computed;
        self.not_shown += other.not_shown;
        self.widths.extend(other.widths);
        self
    }

    /// A count as a share of all trials.
    pub fn share(&self, count: usize) -> f64 {
        count as f64 / self.trials.max(1) as f64
    }

    /// The share of trials whose interval holds the truth, those without an interval among the trials.
    pub fn coverage(&self) -> f64 {
        self.share(self.covered)
    }

    /// The share of computed intervals that hold the truth; `None` where none was computed.
    pub fn coverage_of_computed(&self) -> Option<f64> {
        let computed = self.trials - self.not_computed;
        (computed > 0).then(|| self.covered as f64 / computed as f64)
    }

    /// The median width of intervals with both ends.
    pub fn median_width(&self) -> Option<f64> {
        let mut widths = self.widths.clone();
        widths.sort_by(f64::total_cmp);
        stook::stats::quantile::quantile(&widths, 0.5)
    }
}
