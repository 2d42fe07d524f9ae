//! Many faults of one kind in one column, told as few.

use std::collections::HashMap;

use crate::finding::{Finding, Severity};

/// So many faults of one kind in one column are told one by one.
const TOLD: usize = 3;
/// Of more, the first is told, and the rows of so many others.
const ROWS_LISTED: usize = 8;

/// The findings, where those of one severity and kind in one column of one data file are too many, gathered into the first of
/// them, which tells how many more there are and where.
pub(super) fn gathered(findings: Vec<Finding>) -> Vec<Finding> {
    let mut kinds: HashMap<Kind, Vec<u64>> = HashMap::new();
    for (kind, row) in findings.iter().filter_map(kind) {
        kinds.entry(kind).or_default().push(row);
    }
    let mut gathered: Vec<Finding> = Vec::new();
    for mut finding in findings {
        let Some((rows, row)) = kind(&finding).and_then(|(kind, row)| Some((kinds.get(&kind)?, row))) else {
            gathered.push(finding);
            continue;
        };
        if rows.len() <= TOLD {
            gathered.push(finding);
        } else if let Some((_, more)) = rows.split_first().filter(|(first, _)| **first == row) {
            let listed: Vec<String> = more.iter().take(ROWS_LISTED).map(u64::to_string).collect();
            let dots = if more.len() > listed.len() { " …" } else { "" };
            finding.text += &format!("; so it is on {} more rows: {}{dots}", more.len(), listed.join(", "));
            gathered.push(finding);
        }
    }
    gathered
}

/// What findings have in common that are gathered: severity, code, file, sheet and column.
type Kind = (Severity, &'static str, String, Option<String>, Option<String>);

/// The kind and the row of a finding in a data file. A descriptor is short, and every line of it has its own fault.
fn kind(finding: &Finding) -> Option<(Kind, u64)> {
    let place = &finding.place;
    let row = place.row.filter(|_| finding.excerpt.is_none() && !place.file.ends_with(".toml"))?;
    Some(((finding.severity, finding.code, place.file.clone(), place.sheet.clone(), place.column.clone()), row))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Place;

    fn at(column: &str, row: u64) -> Finding {
        Finding::error("not-a-number", Place::file("plots.csv").row(row).column(column), "no number")
    }

    #[test]
    fn a_wrong_column_is_told_by_its_first_cell_and_the_others_rows() {
        let findings: Vec<Finding> = (2..=300).map(|row| at("yield", row)).chain([at("moisture", 9)]).collect();
        let told = gathered(findings);
        let rows: Vec<Option<u64>> = told.iter().map(|finding| finding.place.row).collect();
        assert_eq!(rows, [Some(2), Some(9)]);
        assert_eq!(told[0].text, "no number; so it is on 298 more rows: 3, 4, 5, 6, 7, 8, 9, 10 …");
    }

    #[test]
    fn a_few_faults_are_each_told() {
        let findings: Vec<Finding> = (2..=4).map(|row| at("yield", row)).collect();
        assert_eq!(gathered(findings.clone()), findings);
    }

    #[test]
    fn lines_of_a_descriptor_are_each_told() {
        let line = |row| Finding::error("unknown-key", Place::file("trial.toml").row(row), "no such key");
        let findings: Vec<Finding> = (1..20).map(line).collect();
        assert_eq!(gathered(findings.clone()), findings);
    }
}
