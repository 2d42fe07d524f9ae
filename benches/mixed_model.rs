//! What a combined analysis of site-years costs, one thread: `cargo bench --bench mixed_model`.
//!
//! 8 rates in 4 blocks a site-year, site-year and block random, rate fixed, all from the raw columns. `Rscript benches/mixed_model.R`
//! times lme4, lmerTest and pbkrtest on the same data; run both on a quiet machine before quoting a ratio.

use divan::{Bencher, black_box};
use stook::stats::mixed_model::{DegreesOfFreedom, Likelihood, MixedData, MixedModel, RandomTerm, fit};

fn main() {
    divan::main();
}

/// Site-years.
const SIZES: [usize; 4] = [60, 250, 500, 1000];

/// The data of the R script.
fn data(sites: usize, with_rate_by_site: bool) -> MixedData {
    let wave = |k: usize, m: usize| ((31 * k * k + 7919 * k) % m) as f64 / m as f64 - 0.5;
    let (mut y, mut site_of, mut block_of, mut rate_of) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for site in 0..sites {
        for rate in 0..8 {
            for block in 0..4 {
                let used = rate.min(5) as f64 / 5.0;
                let response = 25.0 * (1.0 - (1.0 - used).powi(2));
                let site_year = 20.0 * wave(site + 3, 101) + 4.0 * wave(4 * site + block + 1, 211);
                let error = 10.0 * wave(y.len() + 17, 10_007) + 3.0 * wave(8 * site + rate + 5, 499);
                y.push(60.0 + site_year + response + error);
                site_of.push(site);
                block_of.push(4 * site + block);
                rate_of.push(rate);
            }
        }
    }
    let is = |level: usize| rate_of.iter().map(|rate| f64::from(u8::from(*rate == level))).collect();
    let mut fixed = vec![vec![1.0; y.len()]];
    fixed.extend((1..8).map(is));
    let rate_by_site = site_of.iter().zip(&rate_of).map(|(site, rate)| 8 * site + rate).collect();
    let mut random = vec![RandomTerm::intercept("site", site_of), RandomTerm::intercept("block", block_of)];
    if with_rate_by_site {
        random.push(RandomTerm::intercept("rate × site", rate_by_site));
    }
    MixedData { y, fixed, random, residual_group: None }
}

/// Site-years with two plots lost each, at other places in almost every one, so that no covariance matrix serves two.
fn with_plots_lost(sites: usize) -> MixedData {
    let mut data = data(sites, false);
    let is_lost = |i: usize| {
        let (site, plot) = (i / 32, i % 32);
        plot == (7 * site + 3) % 32 || plot == (11 * site * site + 5) % 32
    };
    let kept: Vec<usize> = (0..data.y.len()).filter(|i| !is_lost(*i)).collect();
    for column in data.fixed.iter_mut().chain([&mut data.y]) {
        *column = kept.iter().map(|i| column[*i]).collect();
    }
    for term in &mut data.random {
        term.group_of = kept.iter().map(|i| term.group_of[*i]).collect();
    }
    data
}

fn tested(data: &MixedData, method: DegreesOfFreedom) -> (MixedModel, f64) {
    let model = fit(data, Likelihood::Reml).expect("a fit");
    let df = model.f_test(&model.sequential(1..8), method).expect("a test").df2;
    (model, df)
}

#[divan::bench(args = SIZES)]
fn fit_alone(bencher: Bencher, sites: usize) {
    let data = data(sites, false);
    bencher.bench_local(|| fit(black_box(&data), Likelihood::Reml).expect("a fit").log_likelihood);
}

#[divan::bench]
fn fit_and_f_by_satterthwaite(bencher: Bencher) {
    let data = data(60, false);
    bencher.bench_local(|| tested(black_box(&data), DegreesOfFreedom::Satterthwaite).1);
}

#[divan::bench]
fn fit_and_f_by_kenward_roger(bencher: Bencher) {
    let data = data(60, false);
    bencher.bench_local(|| tested(black_box(&data), DegreesOfFreedom::KenwardRoger).1);
}

#[divan::bench]
fn fit_and_f_by_satterthwaite_with_plots_lost(bencher: Bencher) {
    let data = with_plots_lost(60);
    bencher.bench_local(|| tested(black_box(&data), DegreesOfFreedom::Satterthwaite).1);
}

#[divan::bench]
fn fit_and_f_with_rate_by_site(bencher: Bencher) {
    let data = data(60, true);
    bencher.bench_local(|| tested(black_box(&data), DegreesOfFreedom::Satterthwaite).1);
}

/// One residual variance a site-year: 62 variances.
#[divan::bench]
fn fit_with_a_residual_variance_a_site_year(bencher: Bencher) {
    let mut data = data(60, false);
    data.residual_group = Some(data.random[0].group_of.clone());
    bencher.bench_local(|| fit(black_box(&data), Likelihood::Reml).expect("a fit").log_likelihood);
}
