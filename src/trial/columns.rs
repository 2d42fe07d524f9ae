//! Bare columns of one file: what a quick look works on.

/// The columns of one data file that play a role, row by row; rows without a yield are listed apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    /// The file, as named by the user.
    pub file: String,
    /// N rate of each observation, in the file's unit.
    pub rates: Vec<f64>,
    /// Yield of each observation, in the file's unit.
    pub yields: Vec<f64>,
    /// Block of each observation, where a block column was named.
    pub blocks: Option<Vec<String>>,
    /// The factor that splits the file into groups, as (name, level of each observation).
    pub by: Option<(String, Vec<String>)>,
    /// The factor whose levels are compared, likewise.
    pub factor: Option<(String, Vec<String>)>,
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
    /// Its level of the factor whose levels are compared; empty without one.
    pub factor_level: String,
}
