//! Where the letters of means stand: close above their own mean where that is clear of everything else, else in rows at the top.

use super::super::typeface::{SMALL, Typeface, capital_height, line_height};

/// From the top of a mean's bar to its letters, mm.
const GAP: f64 = 0.9;
/// Clear paper at each side of letters in a row, mm.
const APART: f64 = 0.7;
/// More rows than this are a thicket.
const MOST_ROWS: usize = 3;

/// What letters must stay clear of: the bar or marker of a mean, and what it is lettered with.
pub(super) struct Lettered<'a> {
    /// Place across, mm.
    pub x: f64,
    /// Top and bottom of its bar and marker, mm.
    pub top: f64,
    pub bottom: f64,
    pub letters: &'a str,
}

/// The row of each mean's letters at the top of a panel, whose places across are known; `None` of a mean without letters, and no rows
/// at all where there would be too many.
pub(super) fn rows(places: &[(f64, &str)], typeface: &Typeface) -> Option<Vec<Option<usize>>> {
    // Where the last letters of each row end.
    let mut ends: Vec<f64> = Vec::new();
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|a, b| {
        let x = |of: &usize| places.get(*of).map_or(0.0, |(x, _)| *x);
        x(a).total_cmp(&x(b))
    });
    let mut rows = vec![None; places.len()];
    for index in order {
        let Some((x, letters)) = places.get(index).filter(|(_, letters)| !letters.is_empty()) else { continue };
        let half = typeface.length(letters, SMALL) / 2.0 + APART;
        let row = ends.iter().position(|end| *end <= x - half).unwrap_or(ends.len());
        if row == ends.len() {
            ends.push(0.0);
        }
        if let (Some(end), Some(chosen)) = (ends.get_mut(row), rows.get_mut(index)) {
            (*end, *chosen) = (x + half, Some(row));
        }
    }
    (ends.len() <= MOST_ROWS).then_some(rows)
}

/// How many rows there are.
pub(super) fn count(rows: &[Option<usize>]) -> usize {
    rows.iter().flatten().max().map_or(0, |last| last + 1)
}

/// Height of a number of rows, mm.
pub(super) fn height(rows: usize) -> f64 {
    if rows == 0 { 0.0 } else { GAP + rows as f64 * line_height(SMALL) }
}

/// Baselines of the letters.
pub(super) fn baselines(all: &[Lettered<'_>], rows: &[Option<usize>], panel_top: f64, typeface: &Typeface) -> Vec<f64> {
    let close: Vec<f64> = all.iter().map(|one| one.top - GAP).collect();
    let (above, below) = (1.05 * capital_height(SMALL), 0.35 * capital_height(SMALL));
    let half = |one: &Lettered<'_>| typeface.length(one.letters, SMALL) / 2.0 + 0.25;
    let clear = |(index, one): (usize, &Lettered<'_>)| {
        let Some(baseline) = close.get(index) else { return true };
        let (top, bottom) = (baseline - above, baseline + below);
        let others = || all.iter().zip(&close).enumerate().filter(move |(other, _)| *other != index);
        one.letters.is_empty()
            || top >= panel_top
                && others().all(|(_, (other, other_baseline))| {
                    let beside = |half_width: f64| (other.x - one.x).abs() >= half(one) + half_width;
                    let of_bar = bottom <= other.top - 0.2 || top >= other.bottom + 0.2;
                    let of_letters = (other_baseline - baseline).abs() >= above + below;
                    (beside(1.1) || of_bar) && (other.letters.is_empty() || beside(half(other)) || of_letters)
                })
    };
    if all.iter().enumerate().all(clear) {
        return close;
    }
    let at =
        |row: &Option<usize>| panel_top + capital_height(SMALL) + row.unwrap_or(0) as f64 * line_height(SMALL) + 0.2;
    rows.iter().map(at).collect()
}
