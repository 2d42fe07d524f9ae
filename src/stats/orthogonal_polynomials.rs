//! Orthogonal polynomials over a few values, unequally spaced and unequally weighted: what splits a sum of squares among rates into linear,
//! quadratic and so on.

/// The orthogonal polynomials of degree 1 to `highest_degree` at `values`: for each degree the polynomial's value at each of them.
///
/// They are orthogonal and of unit length under `weights`, to each other and to the constant: `Σ w·p·p′` is 1 for a polynomial with itself
/// and 0 with another, and `Σ w·p` is 0. The highest power has a positive coefficient. With the numbers of plots as weights and m the
/// means, `Σ w·p·m` is the contrast of that degree, and its square the sum of squares, 1 df. With all weights 1, p are the
/// coefficients of a contrast among equally replicated means, whose sum of squares is plots a mean times its square.
///
/// There are at most as many degrees as values less one. `None` unless values ascend strictly, weights are above 0, both are finite
/// and as many, and a double can tell them apart. A common factor of the weights divides all p by its square root; moving and stretching the values changes nothing.
///
/// Each polynomial is begun as the one before times the value, so that no high power is ever taken (the recurrence of Forsythe 1957,
/// J. Soc. Ind. Appl. Math. 5:74-88, from memory), and made orthogonal to all lower ones twice, which leaves rounding alone.
pub fn orthogonal_polynomials(values: &[f64], weights: &[f64], highest_degree: usize) -> Option<Vec<Vec<f64>>> {
    let ascend = values.windows(2).all(|pair| matches!(pair, [a, b] if a < b));
    let are_finite = values.iter().chain(weights).all(|number| number.is_finite());
    if values.len() != weights.len() || !ascend || !are_finite || weights.iter().any(|weight| *weight <= 0.0) {
        return None;
    }
    let (Some(first), Some(last)) = (values.first(), values.last()) else { return Some(Vec::new()) };
    // From −1 to 1, halved first because a difference may overflow.
    let half_range = 0.5 * last - 0.5 * first;
    let places: Vec<f64> = values.iter().map(|value| (value - (first + half_range)) / half_range).collect();
    let product =
        |a: &[f64], b: &[f64]| a.iter().zip(b).zip(weights).map(|((a, b), weight)| weight * a * b).sum::<f64>();
    let mut all: Vec<Vec<f64>> = vec![vec![weights.iter().sum::<f64>().sqrt().recip(); values.len()]];
    for _ in 0..highest_degree.min(values.len() - 1) {
        let mut next: Vec<f64> = all.last()?.iter().zip(&places).map(|(lower, place)| lower * place).collect();
        for _ in 0..2 {
            for lower in &all {
                let along = product(&next, lower);
                next.iter_mut().zip(lower).for_each(|(next, lower)| *next -= along * lower);
            }
        }
        let length = product(&next, &next).sqrt();
        if !(length > 0.0 && length.is_finite()) {
            return None;
        }
        next.iter_mut().for_each(|value| *value /= length);
        all.push(next);
    }
    all.remove(0);
    Some(all)
}
