//! Newton's method with damping, for a few numbers, each of which may have a least value.

/// Steps after which a search is left where it is; ten are many.
const STEPS: usize = 80;

/// What rounding may add to a value, as a share of it: sums of hundreds of products, and a quotient of them.
const ROUNDING: f64 = 1e-13;

/// A function's value, gradient and second derivatives.
pub(super) type Local<const K: usize> = (f64, [f64; K], [[f64; K]; K]);

/// A minimum that was come to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Minimum<const K: usize> {
    pub at: [f64; K],
    pub value: f64,
}

/// Descends from a start. `None` where the function has no value at the start. A function has none (`None`) outside its domain, and steps
/// that leave it are shortened.
pub(super) fn descend<const K: usize>(
    f: impl Fn(&[f64; K]) -> Option<Local<K>>,
    start: [f64; K],
) -> Option<Minimum<K>> {
    descend_above(f, start, &[f64::NEG_INFINITY; K])
}

/// Descends where each number is at least so much: one that lies there and would fall further is left out of a step, and one that a step takes
/// below goes no further than there.
pub(super) fn descend_above<const K: usize>(
    f: impl Fn(&[f64; K]) -> Option<Local<K>>,
    start: [f64; K],
    least: &[f64; K],
) -> Option<Minimum<K>> {
    let mut at: [f64; K] = std::array::from_fn(|i| start[i].max(least[i]));
    let mut here = f(&at)?;
    let mut damping = 0.0;
    for _ in 0..STEPS {
        let free = free(&at, &here, least);
        let Some((step, decrement)) = damped_step(&here, &free, damping) else {
            if damping > 1e12 {
                break;
            }
            damping = if damping == 0.0 { 1e-3 } else { damping * 10.0 };
            continue;
        };
        let next: [f64; K] = std::array::from_fn(|i| (at[i] + step[i]).max(least[i]));
        if next == at {
            break;
        }
        let there = f(&next);
        // Near the minimum values no longer tell points apart, but gradients do.
        let rounding = ROUNDING * here.0.abs();
        let is_better = there.is_some_and(|there| {
            there.0 < here.0 - rounding
                || (there.0 <= here.0 + rounding
                    && decrement_of(&there, &self::free(&next, &there, least)) < 0.5 * decrement_of(&here, &free))
        });
        match there {
            Some(there) if is_better => {
                (at, here) = (next, there);
                damping = if damping < 1e-6 { 0.0 } else { damping * 0.1 };
            }
            _ if decrement <= rounding || damping > 1e12 => break,
            _ => damping = if damping == 0.0 { 1e-3 } else { damping * 10.0 },
        }
    }
    Some(Minimum { at, value: here.0 })
}

/// Which numbers may move: not one that its least value keeps from falling, nor one that nothing depends on.
pub(super) fn free<const K: usize>(at: &[f64; K], (_, gradient, hessian): &Local<K>, least: &[f64; K]) -> [bool; K] {
    std::array::from_fn(|i| {
        let is_held = at[i] <= least[i] && gradient[i] >= 0.0;
        !is_held && (gradient[i] != 0.0 || hessian[i][i] != 0.0)
    })
}

/// The size of the gradient, each entry by the curvature of its own number: the same in any unit.
fn decrement_of<const K: usize>((_, gradient, hessian): &Local<K>, free: &[bool; K]) -> f64 {
    let of = |i: usize| gradient[i] * gradient[i] / hessian[i][i].abs().max(f64::MIN_POSITIVE);
    (0..K).filter(|i| free[*i]).map(of).sum()
}

/// The step of the damped quadratic in the free numbers, with the fall that it promises; `None` where it has no minimum.
fn damped_step<const K: usize>(
    (_, gradient, hessian): &Local<K>,
    free: &[bool; K],
    damping: f64,
) -> Option<([f64; K], f64)> {
    let gradient: [f64; K] = std::array::from_fn(|i| if free[i] { gradient[i] } else { 0.0 });
    let damped: [[f64; K]; K] = std::array::from_fn(|i| {
        std::array::from_fn(|j| match i == j {
            true if free[i] => hessian[i][i] + damping * hessian[i][i].abs(),
            true => 1.0,
            false if free[i] && free[j] => hessian[i][j],
            false => 0.0,
        })
    });
    let step = solve(&damped, &gradient)?.map(|value| -value);
    let fall = -gradient.iter().zip(&step).map(|(g, s)| g * s).sum::<f64>();
    (fall >= 0.0 && step.iter().all(|value| value.is_finite())).then_some((step, fall))
}

/// The pivots of a symmetric matrix scaled to a unit diagonal that a Cholesky factorisation divides by fall below this where columns follow
/// from each other.
const DEPENDENT: f64 = 1e-11;

/// Whether the columns whose products these are follow from each other.
pub(super) fn is_dependent(products: &[Vec<f64>]) -> bool {
    let length: Vec<f64> = products.iter().enumerate().map(|(i, row)| row[i].max(0.0).sqrt()).collect();
    let mut lower: Vec<Vec<f64>> = Vec::with_capacity(products.len());
    for (i, row) in products.iter().enumerate() {
        let mut next: Vec<f64> = Vec::with_capacity(i + 1);
        for (j, product) in row.iter().take(i + 1).enumerate() {
            let before = lower.get(j).unwrap_or(&next);
            let known: f64 = next.iter().zip(before).map(|(one, other)| one * other).sum();
            let rest = product / (length[i] * length[j]) - known;
            if i > j {
                next.push(rest / lower[j][j]);
            } else if rest.is_nan() || rest <= DEPENDENT {
                return true;
            } else {
                next.push(rest.sqrt());
            }
        }
        lower.push(next);
    }
    false
}

/// The lower triangle of a positive definite matrix.
fn factor<const K: usize>(matrix: &[[f64; K]; K]) -> Option<[[f64; K]; K]> {
    let mut lower = [[0.0; K]; K];
    for i in 0..K {
        for j in 0..=i {
            let rest = matrix[i][j] - (0..j).map(|k| lower[i][k] * lower[j][k]).sum::<f64>();
            if i == j {
                if rest.is_nan() || rest <= 0.0 {
                    return None;
                }
                lower[i][i] = rest.sqrt();
            } else {
                lower[i][j] = rest / lower[j][j];
            }
        }
    }
    Some(lower)
}

fn solve<const K: usize>(matrix: &[[f64; K]; K], right: &[f64; K]) -> Option<[f64; K]> {
    let lower = factor(matrix)?;
    let mut x = *right;
    for i in 0..K {
        let known: f64 = (0..i).map(|k| lower[i][k] * x[k]).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    for i in (0..K).rev() {
        let known: f64 = (i + 1..K).map(|k| lower[k][i] * x[k]).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    Some(x)
}
