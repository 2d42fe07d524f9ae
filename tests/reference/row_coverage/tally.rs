//! What the intervals of a row did over programmes.

use stook::stats::interval::Interval;
use stook::stats::quantile::quantile;

/// Counts over programmes; a programme whose table has no rate in a row counts nowhere but in `rows`.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Rows looked at: one a programme, or several where rows are put together.
    pub rows: usize,
    /// Rows with a rate.
    pub rated: usize,
    /// Rows with an interval.
    pub with_interval: usize,
    /// Intervals that hold the truth, lie wholly above it, and wholly below it.
    pub covered: usize,
    pub above: usize,
    pub below: usize,
    widths: Vec<f64>,
    errors: Vec<f64>,
    /// Of each range, the share of new site-years' optima that it holds, and its width.
    shares: Vec<f64>,
    range_widths: Vec<f64>,
    /// Covered and computed intervals of each programme.
    programmes: Vec<[f64; 2]>,
}

/// Both ends of an interval, none where there is no interval.
pub fn ends(interval: &Interval) -> Option<(f64, f64)> {
    interval.low.zip(interval.high)
}

impl Tally {
    /// Counts a row without a rate.
    pub fn count_unrated(&mut self) {
        self.rows += 1;
    }

    /// Counts a rate and its interval, lb/ac, against the truth.
    pub fn count(&mut self, estimate: f64, interval: Option<(f64, f64)>, truth: f64) {
        self.rows += 1;
        self.rated += 1;
        self.errors.push(estimate - truth);
        if let Some((low, high)) = interval {
            self.with_interval += 1;
            self.covered += usize::from(low <= truth && truth <= high);
            self.above += usize::from(truth < low);
            self.below += usize::from(high < truth);
            self.widths.push(high - low);
        }
    }

    /// Counts a range for the optima of new site-years, of which it holds `share`.
    pub fn count_range(&mut self, (low, high): (f64, f64), share: f64) {
        self.shares.push(share);
        self.range_widths.push(high - low);
    }

    /// All that was counted so far is of one programme.
    pub fn close_programme(&mut self) {
        self.programmes = vec![[self.covered as f64, self.with_interval as f64]];
    }

    pub fn merge(mut self, other: Self) -> Self {
        self.rows += other.rows;
        self.rated += other.rated;
        self.with_interval += other.with_interval;
        self.covered += other.covered;
        self.above += other.above;
        self.below += other.below;
        self.widths.extend(other.widths);
        self.errors.extend(other.errors);
        self.shares.extend(other.shares);
        self.range_widths.extend(other.range_widths);
        self.programmes.extend(other.programmes);
        self
    }

    /// The share of intervals that hold the truth.
    pub fn coverage(&self) -> Option<f64> {
        (self.with_interval > 0).then(|| self.covered as f64 / self.with_interval as f64)
    }

    /// Its standard error by chance between programmes: rows of one programme hang together.
    pub fn coverage_error(&self) -> Option<f64> {
        let coverage = self.coverage()?;
        let squares: f64 = self.programmes.iter().map(|[covered, of]| (covered - coverage * of).powi(2)).sum();
        Some(squares.sqrt() / self.with_interval as f64)
    }

    pub fn median_width(&self) -> Option<f64> {
        median(&self.widths)
    }

    /// The mean of rate − truth.
    pub fn bias(&self) -> Option<f64> {
        mean(&self.errors)
    }

    /// The standard deviation of rate − truth.
    pub fn spread(&self) -> Option<f64> {
        let (mean, count) = (self.bias()?, self.errors.len() as f64);
        let squares: f64 = self.errors.iter().map(|error| (error - mean).powi(2)).sum();
        (count > 1.0).then(|| (squares / (count - 1.0)).sqrt())
    }

    /// The mean share of new site-years' optima that the ranges hold.
    pub fn range_share(&self) -> Option<f64> {
        mean(&self.shares)
    }

    pub fn median_range_width(&self) -> Option<f64> {
        median(&self.range_widths)
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn median(values: &[f64]) -> Option<f64> {
    let mut ascending = values.to_vec();
    ascending.sort_by(f64::total_cmp);
    quantile(&ascending, 0.5)
}

#[test]
fn a_tally_counts_what_intervals_hold() {
    let mut one = Tally::default();
    one.count(50.0, Some((40.0, 60.0)), 45.0);
    one.count(50.0, Some((48.0, 60.0)), 45.0);
    one.close_programme();
    let mut other = Tally::default();
    other.count(50.0, Some((30.0, 44.0)), 45.0);
    other.count(52.0, None, 45.0);
    other.count_unrated();
    other.count_range((20.0, 80.0), 0.7);
    other.close_programme();
    let both = one.merge(other);
    assert_eq!((both.rows, both.rated, both.with_interval), (5, 4, 3));
    assert_eq!((both.covered, both.above, both.below), (1, 1, 1));
    assert_eq!((both.bias(), both.median_width()), (Some(5.5), Some(14.0)));
    assert_eq!((both.range_share(), both.median_range_width()), (Some(0.7), Some(60.0)));
    // By hand: coverage 1/3, programmes 1 − 2/3 and 0 − 1/3 off it.
    let error = both.coverage_error().expect("intervals");
    assert!((error - (1.0_f64 / 9.0 + 1.0 / 9.0).sqrt() / 3.0).abs() < 1e-12);
}
