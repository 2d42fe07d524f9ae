//! Many faults of one kind in one column, told as few.

use std::collections::{BTreeMap, HashMap};

use crate::finding::{Finding, Severity};

/// So many faults of one kind in one column are told one by one, …
const TOLD: usize = 3;
/// … and of the others, the rows of so many.
const ROWS_LISTED: usize = 8;

/// The findings, where those of one severity and kind in one column of one data file are too many, with all but the first few
/// gathered into one, which stands at the first of them and tells how many there are and where.
pub(super) fn gathered(findings: Vec<Finding>) -> Vec<Finding> {
    type Kind = (Severity, &'static str, String, Option<String>, Option<String>);
    let mut kinds: BTreeMap<Kind, Vec<usize>> = BTreeMap::new();
    let mut kept: Vec<Finding> = Vec::new();
    let mut rows: HashMap<usize, Vec<u64>> = HashMap::new();
    for finding in findings {
        let place = &finding.place;
        // A descriptor is short, and every line of it has its own fault.
        let Some(row) = place.row.filter(|_| finding.excerpt.is_none() && !place.file.ends_with(".toml")) else {
            kept.push(finding);
            continue;
        };
        let kind = (finding.severity, finding.code, place.file.clone(), place.sheet.clone(), place.column.clone());
        let told = kinds.entry(kind).or_default();
        match told.get(TOLD) {
            Some(gathering) => rows.entry(*gathering).or_default().push(row),
            None => {
                told.push(kept.len());
                kept.push(finding);
            }
        }
    }
    for (position, more) in rows {
        if let Some(finding) = kept.get_mut(position) {
            let listed: Vec<String> = more.iter().take(ROWS_LISTED).map(u64::to_string).collect();
            let dots = if more.len() > listed.len() { " …" } else { "" };
            let (count, noun) = (more.len(), if more.len() == 1 { "row" } else { "rows" });
            finding.text += &format!("; so it is on {count} more {noun}: {}{dots}", listed.join(", "));
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Place;

    fn at(column: &str, row: u64) -> Finding {
        Finding::error("not-a-number", Place::file("plots.csv").row(row).column(column), "no number")
    }

    #[test]
    fn a_wrong_column_is_told_by_its_first_cells_and_their_number() {
        let findings: Vec<Finding> = (2..=300).map(|row| at("yield", row)).chain([at("moisture", 9)]).collect();
        let told = gathered(findings);
        let rows: Vec<Option<u64>> = told.iter().map(|finding| finding.place.row).collect();
        assert_eq!(rows, [Some(2), Some(3), Some(4), Some(5), Some(9)]);
        assert_eq!(told[2].text, "no number");
        assert_eq!(told[3].text, "no number; so it is on 295 more rows: 6, 7, 8, 9, 10, 11, 12, 13 …");
    }

    #[test]
    fn a_few_faults_are_each_told() {
        let findings: Vec<Finding> = (2..=5).map(|row| at("yield", row)).collect();
        assert_eq!(gathered(findings.clone()), findings);
    }

    #[test]
    fn lines_of_a_descriptor_are_each_told() {
        let line = |row| Finding::error("unknown-key", Place::file("trial.toml").row(row), "no such key");
        let findings: Vec<Finding> = (1..20).map(line).collect();
        assert_eq!(gathered(findings.clone()), findings);
    }
}
