//! What each effect, and each part of it, holds beyond the effects that it is adjusted for.

use super::experiment::Factor;
use super::linear::beyond;
use super::result::{SourceRow, TermTests};
use super::terms::{Cells, Term};

/// Orthonormal vectors over the plots.
type Basis = [Vec<f64>];

/// A row for each effect and each part of it. `columns` code the effects at the plots, term after term, and `leading` spans what comes
/// before all of them. `whole` makes the row of an effect from what it is adjusted for and its own columns, `part` that of a part from
/// what it holds beyond those and the parts before it.
pub(super) fn rows_of_terms(
    cells: &Cells,
    treatments: &[Factor],
    leading: &Basis,
    columns: &[Vec<f64>],
    tests: TermTests,
    whole: impl Fn(&Term, &Basis, &[Vec<f64>]) -> SourceRow,
    part: impl Fn(&str, &Basis) -> SourceRow,
) -> Vec<SourceRow> {
    let mut first = 0;
    let mut own: Vec<&[Vec<f64>]> = Vec::new();
    for term in &cells.terms {
        own.push(columns.get(first..first + term.columns.len()).unwrap_or_default());
        first += term.columns.len();
    }
    let mut rows = Vec::new();
    for (position, (term, of_term)) in cells.terms.iter().zip(&own).enumerate() {
        let mut basis = leading.to_vec();
        for (other, of_other) in own.iter().enumerate() {
            if is_adjusted_for(&cells.terms, position, other, tests) {
                let more = beyond(&basis, of_other);
                basis.extend(more);
            }
        }
        rows.push(whole(term, &basis, of_term));
        for one in term.parts(treatments) {
            let more = beyond(&basis, of_term.get(one.columns).unwrap_or_default());
            rows.push(SourceRow { part_of: Some(term.name.clone()), ..part(&one.name, &more) });
            basis.extend(more);
        }
    }
    rows
}

fn is_adjusted_for(terms: &[Term], position: usize, other: usize, tests: TermTests) -> bool {
    let (Some(term), Some(one)) = (terms.get(position), terms.get(other)) else { return false };
    other != position
        && match tests {
            TermTests::Sequential => other < position,
            TermTests::Adjusted => !one.contains(term),
            TermTests::Marginal => true,
        }
}
