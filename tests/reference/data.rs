//! Reading reference data: copies beside the tests, and field trials that are read where they lie.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// A file beside the tests.
pub fn beside(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/data").join(name)
}

/// A file of the shared data: in the folder that STOOK_DATA names or in `../shared/data`.
///
/// `None`, with a line that says so, where there is none; in continuous integration that is a failure.
pub fn shared(name: &str) -> Option<PathBuf> {
    let fallback = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/data");
    let path = std::env::var_os("STOOK_DATA").map_or_else(fallback, PathBuf::from).join(name);
    if path.exists() {
        return Some(path);
    }
    assert!(std::env::var_os("CI").is_none(), "shared data file {name} is missing");
    println!("ignored: shared data file {name} is not here (set STOOK_DATA)");
    None
}

/// A CSV file as columns of text.
pub struct Table {
    columns: HashMap<String, Vec<String>>,
}

impl Table {
    pub fn read(path: &Path) -> Self {
        let mut reader = csv::Reader::from_path(path).unwrap();
        let names: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let mut columns: HashMap<String, Vec<String>> = names.iter().map(|name| (name.clone(), Vec::new())).collect();
        for record in reader.records() {
            for (name, field) in names.iter().zip(&record.unwrap()) {
                columns.get_mut(name).unwrap().push(field.to_owned());
            }
        }
        Self { columns }
    }

    pub fn text(&self, name: &str) -> &[String] {
        &self.columns[name]
    }

    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.columns[name].iter().map(|field| field.parse().unwrap()).collect()
    }

    /// A column's distinct values as group numbers.
    pub fn groups(&self, name: &str) -> Vec<usize> {
        let mut labels: Vec<&String> = self.columns[name].iter().collect();
        labels.sort();
        labels.dedup();
        self.columns[name].iter().map(|field| labels.binary_search(&field).unwrap()).collect()
    }

    /// The rows where a column has a value.
    pub fn only(&self, name: &str, value: &str) -> Self {
        let keep: Vec<bool> = self.columns[name].iter().map(|field| field == value).collect();
        let filter = |column: &Vec<String>| {
            column.iter().zip(&keep).filter(|(_, keep)| **keep).map(|(field, _)| field.clone()).collect()
        };
        Self { columns: self.columns.iter().map(|(name, column)| (name.clone(), filter(column))).collect() }
    }
}
