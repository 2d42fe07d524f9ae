//! Chance, only ever through a seed.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// The random stream of replicate `index` under `seed`.
///
/// Each replicate draws from its own ChaCha8 stream, so a result is the same on any number of threads and does not depend on the
/// order in which replicates are run.
pub fn stream(seed: u64, index: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(index);
    rng
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;

    #[test]
    fn a_stream_depends_on_seed_and_index_alone() {
        let draw = |seed, index| stream(seed, index).random::<u64>();
        assert_eq!(draw(7, 3), draw(7, 3));
        assert_ne!(draw(7, 3), draw(7, 4));
        assert_ne!(draw(7, 3), draw(8, 3));
    }
}
