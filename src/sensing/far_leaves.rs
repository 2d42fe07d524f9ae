//! Leaves that read far from the rest of their plot: a lesion, a midrib, a wrong leaf.

use rayon::iter::ParallelIterator as _;
use rayon::slice::ParallelSlice as _;

use crate::stats::distribution::normal_quantile;
use crate::trial::{Excluded, Reading, Trial};

/// Of a hundred plots of sound, normal leaves about one has a leaf flagged: rarer lesions than that are not worth looking for, and a
/// trial of forty plots is not littered with flags. In 20 000 simulated plots 0.9 % had one at 30 leaves, 1.4 % at 8.
const FALSE_ALARMS: f64 = 0.01;
/// In plots with fewer leaves the median itself lies where chance puts it: at 5 leaves 2.4 % of sound plots had a flag.
const FEWEST_LEAVES: usize = 8;
/// Turns the median absolute deviation of normal values into their standard deviation: 1/Φ⁻¹(3/4).
const OF_NORMAL: f64 = 1.482_602_218_505_602;

/// A leaf that reads far from the rest of its plot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FarLeaf {
    /// Position in [`Trial::readings`].
    pub reading: usize,
    /// The reading minus the plot's median (of leaves at its position on the plant).
    pub distance: f64,
    /// That distance in robust standard deviations of the leaves.
    pub deviations: f64,
}

/// What leaves of a day are judged by.
///
/// A leaf is far where |x − m| > c(n)·max(s, t): m the plot's median, s = 1.4826·b(n)·MAD of the plot's n leaves, t the median of s over the
/// plots of the day, c(n) = Φ⁻¹(1 − α/2n). The plot's own spread keeps an uneven plot from being flagged, the usual one a plot whose leaves happen
/// to agree. b(n) = n/(n − 0.8) takes out the bias of a MAD of few values (Croux & Rousseeuw 1992, from memory). Where the positions
/// of leaves on their plants are recorded, the median difference of a position from its plots is taken off first, so that
/// leaves of one position are not far for being lower down.
pub(super) struct Judge {
    usual: f64,
    /// The median difference of each leaf position from the median of its plot, the first for leaves without one.
    shifts: Vec<f64>,
}

impl Judge {
    /// Looks through the readings of one instrument on one day, which are in the order of the plots. `None` where leaves mostly do not
    /// differ, or no plot has enough of them.
    pub(super) fn of(trial: &Trial, readings: &[Reading]) -> Option<Self> {
        let shifts = shifts(trial, readings);
        let mut judge = Self { usual: 0.0, shifts };
        let mut spreads: Vec<f64> = readings
            .par_chunk_by(|a, b| a.plot == b.plot)
            .filter(|readings| readings.first().is_some_and(|reading| is_read(trial, reading)))
            .filter_map(|readings| Some(judge.centre_and_spread(readings, &mut Vec::new())?.1))
            .collect();
        judge.usual = median(&mut spreads).filter(|usual| *usual > 0.0)?;
        Some(judge)
    }

    /// The far leaves of one plot, counted from its first reading. At most half of them: the median absolute deviation sees to that.
    pub(super) fn far(&self, readings: &[Reading]) -> Vec<FarLeaf> {
        let Some((centre, own)) = self.centre_and_spread(readings, &mut Vec::with_capacity(readings.len())) else {
            return Vec::new();
        };
        let spread = own.max(self.usual);
        let Some(limit) = normal_quantile(FALSE_ALARMS / (2.0 * readings.len() as f64)).map(|z| -z) else {
            return Vec::new();
        };
        let judged = readings.iter().enumerate().map(|(position, reading)| {
            let distance = self.levelled(reading) - centre;
            FarLeaf { reading: position, distance, deviations: distance / spread }
        });
        judged.filter(|leaf| leaf.deviations.abs() > limit).collect()
    }

    fn levelled(&self, reading: &Reading) -> f64 {
        reading.value - self.shifts.get(position(reading)).copied().unwrap_or(0.0)
    }

    fn centre_and_spread(&self, readings: &[Reading], buffer: &mut Vec<f64>) -> Option<(f64, f64)> {
        if readings.len() < FEWEST_LEAVES {
            return None;
        }
        buffer.extend(readings.iter().map(|reading| self.levelled(reading)));
        let centre = median(buffer)?;
        buffer.iter_mut().for_each(|value| *value = (*value - centre).abs());
        let n = readings.len() as f64;
        Some((centre, OF_NORMAL * n / (n - 0.8) * median(buffer)?))
    }
}

fn is_read(trial: &Trial, reading: &Reading) -> bool {
    trial.plots.get(reading.plot).is_some_and(|plot| plot.excluded(Excluded::Readings).is_none())
}

fn position(reading: &Reading) -> usize {
    reading.position.map_or(0, |position| usize::from(position.get()))
}

fn shifts(trial: &Trial, readings: &[Reading]) -> Vec<f64> {
    if trial.leaf_positions.is_empty() {
        return Vec::new();
    }
    let mut by_position: Vec<Vec<f64>> = vec![Vec::new(); trial.leaf_positions.len() + 1];
    let mut values = Vec::new();
    for plot in readings.chunk_by(|a, b| a.plot == b.plot) {
        if plot.len() < FEWEST_LEAVES || !plot.first().is_some_and(|reading| is_read(trial, reading)) {
            continue;
        }
        values.clear();
        values.extend(plot.iter().map(|reading| reading.value));
        let Some(centre) = median(&mut values) else { continue };
        for reading in plot {
            if let Some(differences) = by_position.get_mut(position(reading)) {
                differences.push(reading.value - centre);
            }
        }
    }
    by_position.iter_mut().map(|differences| median(differences).unwrap_or(0.0)).collect()
}

/// The median, of an even number the mean of the two in the middle; `None` of no values. The values are put in another order.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    let is_even = values.len().is_multiple_of(2);
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !is_even {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(lower + (upper - lower) / 2.0)
}
