//! Quantiles of a sample.

/// The quantile of ascending values by linear interpolation (Hyndman & Fan 1996, type 7); `None` without values.
pub fn quantile(ascending: &[f64], probability: f64) -> Option<f64> {
    let last = ascending.len().checked_sub(1)?;
    let position = probability * last as f64;
    let below = ascending.get(position.floor() as usize)?;
    let above = ascending.get(position.ceil() as usize)?;
    Some(below + (above - below) * position.fract())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quantile_interpolates_between_order_statistics() {
        // numpy.quantile([1, 2, 4, 8], [0, .25, .5, 1]) = 1, 1.75, 3, 8.
        let values = [1.0, 2.0, 4.0, 8.0];
        let found = [0.0, 0.25, 0.5, 1.0].map(|probability| quantile(&values, probability));
        assert_eq!(found, [Some(1.0), Some(1.75), Some(3.0), Some(8.0)]);
        assert_eq!(quantile(&[], 0.5), None);
    }
}
