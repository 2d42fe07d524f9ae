//! Levels of a factor as small whole numbers.

use std::collections::BTreeSet;

/// The position of each label among the distinct labels in ascending order.
#[must_use]
pub fn level_indices<T: Ord>(labels: &[T]) -> Vec<usize> {
    let distinct: BTreeSet<&T> = labels.iter().collect();
    let sorted: Vec<&T> = distinct.into_iter().collect();
    // Every label is among the distinct ones, so the search always finds it; the insertion point is the same number anyway.
    labels.iter().map(|label| sorted.binary_search(&label).unwrap_or_else(|position| position)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_numbered_in_ascending_order() {
        assert_eq!(level_indices(&["b", "a", "c", "a"]), [1, 0, 2, 0]);
        assert_eq!(level_indices::<u8>(&[]), [0_usize; 0]);
    }
}
