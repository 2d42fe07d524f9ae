//! What a fit costs, one thread: `cargo bench --bench response`.
//!
//! `whole_fit` goes from raw plots to a curve, `fit_alone` from reduced observations; `naive` fits the same curve the plain way: a
//! dense grid of joins refined by golden section, each step a full least-squares solve over plots and blocks. The ratio of `naive` to
//! `whole_fit` is what the reduction and the exact search save. `bootstrap_of_2000_global_refits_on_one_core` goes against R's nls and
//! SciPy's least_squares on the same data: `Rscript benches/refits.R` and `python3 benches/refits.py` beside it.

use divan::{Bencher, black_box};
use stook::response::{Bootstrap, Curve, Family, Observations, Quantity};
use stook::stats::least_squares;

fn main() {
    divan::main();
}

/// Rates × blocks: 24, 28 and 40 plots.
const SIZES: [(usize, usize); 3] = [(6, 4), (7, 4), (8, 5)];

struct Plots {
    rates: Vec<f64>,
    yields: Vec<f64>,
    blocks: Vec<usize>,
}

/// A quadratic-plateau with block differences and a fixed pattern of errors.
fn plots((rates, blocks): (usize, usize)) -> Plots {
    let mut plots = Plots { rates: Vec::new(), yields: Vec::new(), blocks: Vec::new() };
    for index in 0..rates * blocks {
        let (level, block) = (index / blocks, index % blocks);
        let rate = 30.0 * level as f64;
        let used = rate.min(115.0) / 115.0;
        let error = ((index * 37 % 23) as f64 - 11.0) / 6.0;
        plots.rates.push(rate);
        plots.yields.push(45.0 + 1.5 * block as f64 + 30.0 * (2.0 * used - used * used) + error);
        plots.blocks.push(block);
    }
    plots
}

/// As [`plots`] with two plots lost, so that blocks and rates are not proportional.
fn unbalanced(size: (usize, usize)) -> Plots {
    let mut plots = plots(size);
    for lost in [9, 3] {
        plots.rates.remove(lost);
        plots.yields.remove(lost);
        plots.blocks.remove(lost);
    }
    plots
}

fn observe(plots: &Plots) -> Observations {
    Observations::new(&plots.rates, &plots.yields, Some(&plots.blocks)).expect("a valid trial")
}

#[divan::bench(args = SIZES)]
fn whole_fit(bencher: Bencher, size: (usize, usize)) {
    let plots = plots(size);
    bencher.bench_local(|| observe(black_box(&plots)).fit(Family::QuadraticPlateau));
}

#[divan::bench(args = SIZES)]
fn whole_fit_unbalanced(bencher: Bencher, size: (usize, usize)) {
    let plots = unbalanced(size);
    bencher.bench_local(|| observe(black_box(&plots)).fit(Family::QuadraticPlateau));
}

#[divan::bench(args = SIZES)]
fn reduction_alone(bencher: Bencher, size: (usize, usize)) {
    let plots = plots(size);
    bencher.bench_local(|| observe(black_box(&plots)));
}

#[divan::bench(args = Family::ALL)]
fn fit_alone(bencher: Bencher, family: Family) {
    let observations = observe(&plots((7, 4)));
    bencher.bench_local(|| black_box(&observations).fit(family));
}

#[divan::bench(args = [Family::Quadratic, Family::LinearPlateau, Family::QuadraticPlateau])]
fn optimum_with_interval(bencher: Bencher, family: Family) {
    let observations = observe(&plots((7, 4)));
    let fit = observations.fit(family);
    let curve = fit.curve().expect("an estimable curve");
    bencher.bench_local(|| black_box(&observations).optimum(curve, 0.1, 0.95));
}

/// The synthetic trial s1 of the reference results, without blocks, as R and SciPy fit it.
fn s1() -> (Observations, Curve) {
    let text = include_str!("../tests/reference/data/oracle/s1_qp.csv");
    let rows: Vec<Vec<f64>> = text.lines().skip(1).map(|line| line.split(',').flat_map(str::parse).collect()).collect();
    let column = |place: usize| -> Vec<f64> { rows.iter().filter_map(|row| row.get(place).copied()).collect() };
    let observations = Observations::new(&column(2), &column(3), None).expect("a valid trial");
    let curve = observations.fit(Family::QuadraticPlateau).curve().expect("a plateau").clone();
    (observations, curve)
}

/// Against `benches/refits.R` and `benches/refits.py`, which print what the same refits take there.
#[divan::bench]
fn bootstrap_of_2000_global_refits_on_one_core(bencher: Bencher) {
    let (observations, curve) = s1();
    let how = Bootstrap { replicates: 2000, ..Bootstrap::new(7) };
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("one thread");
    bencher.bench_local(|| {
        one.install(|| black_box(&observations).bootstrap(&curve, Quantity::Join, curve.join, &how, 0.95))
    });
}

/// Every family with the profiles of join, plateau and optimum, and 10 000 refits of each family that has an optimum, on all cores.
#[divan::bench]
fn all_families_profiles_and_10000_refits_of_each(bencher: Bencher) {
    let observations = observe(&plots((7, 4)));
    let how = Bootstrap { replicates: 10_000, ..Bootstrap::new(7) };
    bencher.bench_local(|| {
        for family in Family::ALL {
            let fit = black_box(&observations).fit(family);
            let Some(curve) = fit.curve() else { continue };
            black_box(observations.join_interval(curve, 0.95));
            black_box(observations.plateau_interval(curve, 0.95));
            black_box(observations.optimum(curve, 0.1, 0.95));
            let optimum = Quantity::Optimum { slope_ratio: 0.1 };
            black_box(observations.bootstrap(curve, optimum, None, &how, 0.95));
        }
    });
}

#[divan::bench]
fn response_test_of_1000_permutations(bencher: Bencher) {
    let observations = observe(&plots((7, 4)));
    bencher.bench_local(|| black_box(&observations).response_test(1000, 1));
}

#[divan::bench(args = SIZES)]
fn naive(bencher: Bencher, size: (usize, usize)) {
    let plots = plots(size);
    bencher.bench_local(|| naive_join(black_box(&plots)));
}

/// Residual sum of squares for a fixed join, over all plots and blocks.
fn residual(plots: &Plots, join: f64) -> f64 {
    let blocks = plots.blocks.iter().max().map_or(0, |last| last + 1);
    let indicator = |block| plots.blocks.iter().map(|b| f64::from(u8::from(*b == block))).collect();
    let mut columns: Vec<Vec<f64>> = (0..blocks).map(indicator).collect();
    let rise = |rate: &f64| {
        let used = rate.min(join) / join;
        2.0 * used - used * used
    };
    columns.push(plots.rates.iter().map(rise).collect());
    least_squares::solve(&columns, &plots.yields).map_or(f64::INFINITY, |solution| solution.rss)
}

fn naive_join(plots: &Plots) -> f64 {
    let top = plots.rates.iter().copied().fold(0.0, f64::max);
    let grid = |step: usize| top * step as f64 / 100.0;
    let fits = (1..=150).map(|step| (residual(plots, grid(step)), step));
    let best = fits.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(1, |(_, step)| step);
    let (mut low, mut high) = (grid(best.max(2) - 1), grid(best + 1));
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    while high - low > 1e-7 * top {
        let (left, right) = (high - golden * (high - low), low + golden * (high - low));
        if residual(plots, left) < residual(plots, right) { high = right } else { low = left }
    }
    0.5 * (low + high)
}
