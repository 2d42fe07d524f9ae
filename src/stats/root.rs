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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_is_found_to_the_last_digit_where_false_position_crawls() {
        // 2 − e^x at ln 2; a function that is level but for a step; one that is 0 at its end.
        let found = falling_root(|x: f64| 2.0 - x.exp(), -50.0, 40.0);
        assert!((found - 2.0_f64.ln()).abs() < 1e-15, "{found}");
        let step = falling_root(|x| if x < 0.3 { 1e-9 } else { -1e9 }, -1.0, 1.0);
        assert!((step - 0.3).abs() < 1e-15, "{step}");
        assert_eq!(falling_root(|x| 1.0 - x, 0.0, 1.0), 1.0);
    }
}
