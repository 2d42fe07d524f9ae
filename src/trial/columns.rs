//! Bare columns of one file: what a quick look works on.

use super::Design;

/// The columns of one data file that play a role, row by row; rows without a yield are listed apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    /// The file, as named by the user.
    pub file: String,
    /// Header of the N rate: its name as a factor.
    pub rate_name: String,
    /// Header of the yield.
    pub yield_name: String,
    /// N rate of each observation, in the file's unit.
    pub rates: Vec<f64>,
    /// Yield of each observation, in the file's unit.
    pub yields: Vec<f64>,
    /// How treatments were randomised; factors by their headers, N among them.
    pub design: Design,
    /// Block of each observation, where a block column was named.
    pub blocks: Option<Vec<String>>,
    /// The factor that splits the file into groups, as (header, level of each observation).
    pub by: Option<(String, Vec<String>)>,
    /// The factors whose levels are compared, likewise, in the order given.
    pub factors: Vec<(String, Vec<String>)>,
    /// Factors that the design names and that play no other role, likewise.
    pub design_factors: Vec<(String, Vec<String>)>,
    /// The site-year, likewise, where the file holds several.
    pub site_years: Option<(String, Vec<String>)>,
    /// Plots behind each row, where rows are treatment means.
    pub replicates: Option<Vec<usize>>,
    /// Row of the file of each observation, counted from 1 with the header included.
    pub rows: Vec<u64>,
    /// Rows that had no yield.
    pub missing: Vec<MissingYield>,
}

/// A row without a yield.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MissingYield {
    /// Row of the file, counted from 1 with the header included.
    pub row: u64,
    /// Its level of the splitting factor; empty without one.
    pub level: String,
    /// Its levels of the factors that are compared, in their order.
    pub factor_levels: Vec<String>,
}
