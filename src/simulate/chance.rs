//! Chance, only ever through a seed: one stream for each trial and purpose.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// What the draws of a stream are for. The number is part of the stream, so it never changes once given.
#[derive(Debug, Clone, Copy)]
pub(super) enum Purpose {
    Layout = 0,
    Ground = 1,
    Canopy = 2,
    Leaves = 3,
    Harvest = 4,
    Population = 5,
    PopulationSite = 6,
    PopulationSeason = 7,
}

/// Streams set aside for one trial; more than there are purposes, so that a new one moves no trial.
const STREAMS_PER_TRIAL: u64 = 16;

/// The stream of one trial and purpose.
pub(super) fn stream(seed: u64, trial: u64, purpose: Purpose) -> ChaCha8Rng {
    let mut stream = ChaCha8Rng::seed_from_u64(seed);
    stream.set_stream(trial.wrapping_mul(STREAMS_PER_TRIAL).wrapping_add(purpose as u64));
    stream
}

/// A normal draw with mean 0 and this standard deviation.
pub(super) fn normal(stream: &mut ChaCha8Rng, deviation: f64) -> f64 {
    let draw: f64 = StandardNormal.sample(stream);
    deviation * draw
}
