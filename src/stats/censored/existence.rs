//! Whether the likelihood has a maximum.
//!
//! The log-likelihood of (δ, γ) is concave, so it has no maximum exactly if it never falls along some
//! direction d (Rockafellar 1970, Convex Analysis, theorem 27.1). With `v·(δ, γ) = γ y − z·δ` that
//! direction has `v·d = 0` for every exact row, `v·d ≥ 0` for every limit from above, `v·d ≤ 0` for
//! every limit from below, and `d_γ ≥ 0`. Within the null space of the exact rows, and with signs
//! turned so that every inequality reads `a·d ≥ 0`, Stiemke's lemma says: either some d has all
//! `a·d ≥ 0` and not all 0, or `Σ λ a = 0` for some λ that is everywhere positive. The least-squares
//! problem `min ‖Σ λ a‖, λ ≥ 1` decides between the two, and its remainder is such a d.

use super::likelihood::{Known, Likelihood};
use super::{CensoredError, ROUNDING};
use crate::stats::least_squares::dot;
use faer::linalg::solvers::{ColPivQr, SolveLstsqCore};
use faer::{Conj, Mat};

/// A direction counts as nothing, or as without a part along γ, below this: the square root of what the
/// null space is known to, as errors of the active-set method add up over rows.
const NOTHING: f64 = 3e-5;

/// Refuses a likelihood without a maximum. At least one row must be exact and the design of full rank.
pub(super) fn check(likelihood: &Likelihood, exact: usize) -> Result<(), CensoredError> {
    match escape(likelihood) {
        None => Ok(()),
        Some(direction) if direction.last().is_some_and(|gamma| *gamma > NOTHING) => {
            Err(CensoredError::PerfectFit { exact })
        }
        Some(_) => Err(CensoredError::Separated { exact }),
    }
}

/// A unit direction of (δ, γ) along which the likelihood never falls.
fn escape(likelihood: &Likelihood) -> Option<Vec<f64>> {
    let open = null_space_of_exact_rows(likelihood);
    let size = likelihood.rows.first().map_or(0, |row| row.v.len());
    let mut gamma = vec![0.0; size];
    *gamma.last_mut()? = 1.0;
    let limits = likelihood.rows.iter().filter_map(|row| match row.known {
        Known::Exact => None,
        Known::AtMost => Some(row.v.clone()),
        Known::AtLeast => Some(row.v.iter().map(|v| -v).collect()),
    });
    let within = |v: Vec<f64>| -> Option<Vec<f64>> {
        let a: Vec<f64> = open.iter().map(|direction| dot(direction, &v)).collect();
        let length = dot(&a, &a).sqrt();
        // A row that the open directions can't touch says nothing; what is left of it is rounding.
        (length > ROUNDING * dot(&v, &v).sqrt()).then(|| a.iter().map(|x| x / length).collect())
    };
    let inequalities: Vec<Vec<f64>> = limits.chain([gamma]).filter_map(within).collect();
    let remainder = smallest_positive_combination(&inequalities, open.len());
    let length = dot(&remainder, &remainder).sqrt();
    let along = |i: usize| open.iter().zip(&remainder).map(|(direction, share)| direction[i] * share).sum::<f64>();
    (length > NOTHING).then(|| (0..size).map(|i| along(i) / length).collect())
}

/// Orthonormal directions along which no exact row changes.
fn null_space_of_exact_rows(likelihood: &Likelihood) -> Vec<Vec<f64>> {
    let exact: Vec<&Vec<f64>> =
        likelihood.rows.iter().filter(|row| row.known == Known::Exact).map(|row| &row.v).collect();
    let size = exact.first().map_or(0, |v| v.len());
    let qr = Mat::from_fn(size, exact.len(), |i, j| exact[j][i]).col_piv_qr();
    let rank = diagonal_rank(&qr);
    let q = qr.compute_Q();
    let column = |j: usize| (0..size).map(|i| q[(i, j)]).collect();
    (rank..size).map(column).collect()
}

/// How many columns of a pivoted decomposition are more than rounding.
fn diagonal_rank(qr: &ColPivQr<f64>) -> usize {
    let r = qr.thin_R();
    let size = r.nrows().min(r.ncols());
    let floor = ROUNDING * if size > 0 { r[(0, 0)].abs() } else { 0.0 };
    (0..size).take_while(|&j| r[(j, j)].abs() > floor).count()
}

/// The shortest `Σ λ a` over all `λ ≥ 1`: non-negative least squares for `λ − 1` by the active-set
/// method of Lawson and Hanson (1974, Solving Least Squares Problems, chapter 23).
fn smallest_positive_combination(vectors: &[Vec<f64>], size: usize) -> Vec<f64> {
    let sum = |shares: &[f64]| -> Vec<f64> {
        (0..size).map(|i| vectors.iter().zip(shares).map(|(a, s)| a[i] * (1.0 + s)).sum()).collect()
    };
    let offset = sum(&vec![0.0; vectors.len()]);
    let mut shares = vec![0.0; vectors.len()];
    let mut active: Vec<usize> = Vec::new();
    // Each round shortens the remainder; the bound only guards against cycling on rounding.
    for _ in 0..10 * (vectors.len() + 1) {
        let remainder = sum(&shares);
        let gain = |j: &usize| -dot(&vectors[*j], &remainder);
        let candidate = (0..vectors.len()).filter(|j| !active.contains(j)).max_by(|a, b| gain(a).total_cmp(&gain(b)));
        let Some(enter) = candidate.filter(|j| gain(j) > ROUNDING) else {
            break;
        };
        active.push(enter);
        while !active.is_empty() {
            let wanted = least_squares(vectors, &active, &offset);
            let blocking = active
                .iter()
                .zip(&wanted)
                .filter(|(_, want)| **want <= 0.0)
                .map(|(&j, want)| shares[j] / (shares[j] - want).max(f64::MIN_POSITIVE))
                .min_by(f64::total_cmp);
            let step = blocking.unwrap_or(1.0);
            for (&j, want) in active.iter().zip(&wanted) {
                shares[j] = (shares[j] + step * (want - shares[j])).max(0.0);
            }
            if blocking.is_none() {
                break;
            }
            active.retain(|&j| shares[j] > ROUNDING * ROUNDING);
            (0..shares.len()).filter(|j| !active.contains(j)).for_each(|j| shares[j] = 0.0);
        }
    }
    sum(&shares)
}

/// The combination of the `active` vectors nearest to `−offset`.
fn least_squares(vectors: &[Vec<f64>], active: &[usize], offset: &[f64]) -> Vec<f64> {
    // A square or tall system: the active vectors are independent, so never more than their length.
    let rows = offset.len().max(active.len());
    let entry = |i: usize, j: usize| vectors[active[j]].get(i).copied().unwrap_or(0.0);
    let qr = Mat::from_fn(rows, active.len(), entry).col_piv_qr();
    let mut target = Mat::from_fn(rows, 1, |i, _| -offset.get(i).copied().unwrap_or(0.0));
    qr.solve_lstsq_in_place_with_conj(Conj::No, target.as_mut());
    (0..active.len()).map(|j| target[(j, 0)]).collect()
}

#[cfg(test)]
mod tests {
    use super::super::Response;
    use super::super::likelihood::Row;
    use super::*;
    use proptest::prelude::*;

    /// Rounding of the direction, times the size of a row.
    const NEAR: f64 = 1e-6;

    /// Rows on a coarse grid, where ties, exact fits and separation abound.
    fn likelihoods() -> impl Strategy<Value = Likelihood> {
        prop::collection::vec((0i8..3, 0i8..3, -1i8..3, 0u8..4), 4..9).prop_map(|rows| {
            let row = |(x, z, y, kind): (i8, i8, i8, u8)| {
                let y = f64::from(y);
                let response = match kind {
                    0 => Response::AtMost(y),
                    1 => Response::AtLeast(y),
                    _ => Response::Exact(y),
                };
                Row::new(&[1.0, f64::from(x), f64::from(z)], y, response)
            };
            Likelihood::new(rows.into_iter().map(row).collect())
        })
    }

    proptest! {
        #[test]
        fn either_a_direction_that_never_falls_or_a_maximum(likelihood in likelihoods()) {
            let design = Mat::from_fn(likelihood.rows.len(), 3, |i, j| likelihood.rows[i].v[j]).col_piv_qr();
            let exact = likelihood.rows.iter().filter(|row| row.known == Known::Exact).count();
            if diagonal_rank(&design) < 3 || exact == 0 {
                return Ok(());
            }
            let Some(direction) = escape(&likelihood) else {
                let best = likelihood.maximise();
                prop_assert!(best.converged);
                let at: Vec<f64> = best.slopes.iter().copied().chain([best.precision]).collect();
                prop_assert!(likelihood.slope(&at).iter().all(|slope| slope.abs() < NEAR));
                return Ok(());
            };
            prop_assert!((dot(&direction, &direction) - 1.0).abs() < NEAR);
            prop_assert!(direction[3] > -NEAR);
            let mut moves = direction[3] > NEAR;
            for row in &likelihood.rows {
                let along = dot(&row.v, &direction);
                moves |= along.abs() > NEAR;
                match row.known {
                    Known::Exact => prop_assert!(along.abs() < NEAR),
                    Known::AtMost => prop_assert!(along > -NEAR),
                    Known::AtLeast => prop_assert!(along < NEAR),
                }
            }
            prop_assert!(moves);
        }
    }
}
