//! Where a function of one number falls through zero.

/// Halvings that bring any bracket of doubles near each other down to neighbours.
pub(crate) const HALVINGS: usize = 200;

/// Where a function that is above 0 at `low` and at most 0 at `high` falls through it: false position with the kept end's value
/// halved (the Illinois rule; Dowell & Jarratt 1971, BIT 11:168-174, from memory), and a halving wherever that moves little.
pub fn falling_root(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let (mut above, mut below) = (f(low), f(high));
    for round in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if !(low < middle && middle < high) || below == 0.0 {
            break;
        }
        let crossing = low + (high - low) * above / (above - below);
        let at = if round % 3 == 2 || !(low < crossing && crossing < high) { middle } else { crossing };
        let value = f(at);
        if value > 0.0 {
            (low, above, below) = (at, value, 0.5 * below);
        } else if value == 0.0 {
            return at;
        } else {
            (high, below, above) = (at, value, 0.5 * above);
        }
    }
    high
}

/// The root of a monotone function, rising or falling, between two ends, to the last digit that its values carry; `None` where it has one
/// sign. False position with the kept end's value halved (the Illinois rule), halving where that leaves the bracket.
pub fn bracketed_root(f: impl Fn(f64) -> f64, [mut from, mut to]: [f64; 2]) -> Option<f64> {
    let opposite = |a: f64, b: f64| (a < 0.0 && b > 0.0) || (a > 0.0 && b < 0.0);
    let (mut at_from, mut at_to) = (f(from), f(to));
    match (at_from == 0.0, at_to == 0.0) {
        (true, _) => return Some(from),
        (_, true) => return Some(to),
        _ if !opposite(at_from, at_to) => return None,
        _ => {}
    }
    for _ in 0..HALVINGS {
        let secant = to - at_to * (to - from) / (at_to - at_from);
        let next = if secant > from.min(to) && secant < from.max(to) { secant } else { 0.5 * (from + to) };
        let here = f(next);
        let is_settled = (next - to).abs() <= f64::EPSILON * next.abs() || (to - from).abs() <= f64::EPSILON * to.abs();
        if here == 0.0 || is_settled {
            return Some(next);
        }
        if opposite(here, at_to) {
            (from, at_from) = (to, at_to);
        } else {
            at_from *= 0.5;
        }
        (to, at_to) = (next, here);
    }
    Some(to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn the_root_is_found_to_the_last_digit_where_false_position_crawls() {
        // 2 − e^x at ln 2; a function that is level but for a step; one that is 0 at its end.
        let found = falling_root(|x: f64| 2.0 - x.exp(), -50.0, 40.0);
        assert!((found - 2.0_f64.ln()).abs() < 1e-15, "{found}");
        let step = falling_root(|x| if x < 0.3 { 1e-9 } else { -1e9 }, -1.0, 1.0);
        assert!((step - 0.3).abs() < 1e-15, "{step}");
        assert_eq!(falling_root(|x| 1.0 - x, 0.0, 1.0), 1.0);
    }

    #[test]
    fn a_root_is_bracketed_whichever_way_the_function_runs() {
        assert_relative_eq!(
            bracketed_root(|x| x * x * x - 2.0, [0.0, 2.0]).unwrap(),
            2.0_f64.cbrt(),
            max_relative = 1e-15
        );
        assert_relative_eq!(bracketed_root(|x| 3.0 - x.sqrt(), [0.0, 20.0]).unwrap(), 9.0, max_relative = 1e-14);
        assert_eq!(bracketed_root(|x| x + 1.0, [0.0, 2.0]), None);
        assert_eq!(bracketed_root(|_| f64::NAN, [0.0, 2.0]), None);
        // An infinite slope at no N, as a square root has it.
        assert_relative_eq!(bracketed_root(|x| 1.0 / x.sqrt() - 0.5, [0.0, 9.0]).unwrap(), 4.0, max_relative = 1e-14);
    }
}
