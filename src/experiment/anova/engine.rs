//! What every way of analysing gives: estimates of weighted cells, and tests of several.

/// An estimate with its error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Estimate {
    pub(super) estimate: f64,
    /// `None` without an error to take it from.
    pub(super) standard_error: Option<f64>,
    pub(super) df: Option<f64>,
}

/// A test that several contrasts are all zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Test {
    pub(super) f: f64,
    pub(super) df1: usize,
    pub(super) df2: f64,
    pub(super) p: f64,
}

/// A fitted analysis.
pub(super) trait Engine {
    /// The weighted sum of expected yields of cells, blocks alike. `None` where it is not estimable.
    fn estimate(&self, weights: &[f64]) -> Option<Estimate>;

    /// A test that the weighted sums are all zero; each row sums to zero. `None` where one is not estimable or there is no error.
    fn test(&self, rows: &[Vec<f64>]) -> Option<Test>;
}
