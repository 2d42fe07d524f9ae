//! A trial for tests: six rates in four blocks, made up, with a clear plateau. `tests/reference/checks.rs` holds its curves to SciPy's.

use super::Observations;

pub(super) fn observations() -> Observations {
    let yields = [
        [38.0, 41.0, 43.0, 39.0],
        [55.0, 57.0, 60.0, 53.0],
        [66.0, 69.0, 70.0, 65.0],
        [73.0, 75.0, 77.0, 71.0],
        [75.0, 78.0, 79.0, 74.0],
        [74.0, 79.0, 78.0, 75.0],
    ];
    let rates: Vec<f64> = (0..24).map(|plot| 30.0 * (plot / 4) as f64).collect();
    let blocks: Vec<usize> = (0..24).map(|plot| plot % 4).collect();
    Observations::new(&rates, yields.as_flattened(), Some(&blocks)).unwrap()
}
