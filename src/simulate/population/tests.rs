use super::*;
use crate::trial::Instrument;

#[test]
fn more_site_years_change_none_before_them() {
    let options = PopulationOptions::mixed();
    let (few, many) = (population(3, 5, &options), population(3, 9, &options));
    assert_eq!(few, many[..5]);
    assert_ne!(few, population(4, 5, &options));
}

#[test]
fn designs_change_no_growth() {
    let growth = |options: &PopulationOptions| -> Vec<Growth> {
        population(3, 6, options).into_iter().map(|site_year| site_year.growth).collect()
    };
    assert_eq!(growth(&PopulationOptions::mixed()), growth(&PopulationOptions::small()));
}

#[test]
fn a_small_trial_has_32_plots_and_every_site_year_a_folder_of_its_own() {
    let options = PopulationOptions::small();
    let site_years = population(3, 40, &options);
    for (index, site_year) in (0..).zip(&site_years) {
        assert_eq!(super::super::field::grow(3, index, site_year).len(), 32);
    }
    let folders: std::collections::BTreeSet<String> = site_years.iter().map(SiteYear::folder).collect();
    assert_eq!(folders.len(), 40);
}

/// Correlation between two lists.
fn correlation(one: &[f64], other: &[f64]) -> f64 {
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let (a, b) = (mean(one), mean(other));
    let product = |x: &[f64], y: &[f64], a: f64, b: f64| x.iter().zip(y).map(|(x, y)| (x - a) * (y - b)).sum::<f64>();
    product(one, other, a, b) / (product(one, one, a, a) * product(other, other, b, b)).sqrt()
}

#[test]
fn seasons_of_a_site_are_as_alike_as_they_are_told_to_be() {
    for shared in [0.0, 0.5, 1.0] {
        let options = PopulationOptions { seasons: 2, shared_by_site: shared, ..PopulationOptions::default() };
        let potentials: Vec<f64> =
            population(9, 4_000, &options).iter().map(|site_year| site_year.growth.yield_potential).collect();
        let (first, second): (Vec<f64>, Vec<f64>) = potentials.chunks(2).map(|pair| (pair[0], pair[1])).unzip();
        // 2 000 pairs: a standard error of 0.022 at 0.
        assert!((correlation(&first, &second) - shared).abs() < 0.08, "{shared}");
    }
}

#[test]
fn without_chance_the_measured_index_is_the_true_one() {
    let options = PopulationOptions { scatter: Scatter::none(), ..PopulationOptions::mixed() };
    let truth = PopulationTruth::sample(5, 12, &options);
    assert_eq!(truth.points().len(), 3 * 6 + 9 * 4);
    for point in truth.points() {
        for instrument in Instrument::ALL {
            approx::assert_relative_eq!(
                point.index(instrument, Given::Measured),
                point.index(instrument, Given::True),
                max_relative = 1e-12
            );
        }
    }
}

#[test]
fn the_best_rate_at_an_index_returns_more_on_average_than_its_neighbours_and_than_the_mean_optimum() {
    let truth = PopulationTruth::sample(5, 4_000, &PopulationOptions::default());
    let (instrument, given, index, half_width, price_ratio) =
        (Instrument::LeafChlorophyll, Given::Measured, 0.875, 0.01, 0.1);
    let row = truth.at(instrument, given, index, half_width, price_ratio).expect("treatments there");
    let near = || truth.points().iter().filter(|point| (point.index(instrument, given) - index).abs() <= half_width);
    let mean_return =
        |rate: f64| near().map(|point| point.net_return(rate, price_ratio)).sum::<f64>() / near().count() as f64;
    assert!(row.error > 0.0 && row.error < 3.0, "{}", row.error);
    assert_eq!(row.optima.len(), near().count());
    assert!(row.optimum_quantile(0.1) < Some(row.rate) && row.optimum_quantile(0.9) > Some(row.rate));
    for away in [-10.0, 10.0] {
        assert!(mean_return(row.rate) > mean_return(row.rate + away));
    }
    let share = row.share_within(row.optimum_quantile(0.1).expect("some"), row.optimum_quantile(0.9).expect("some"));
    assert!((share - 0.8).abs() < 0.01, "{share}");
}

#[test]
fn where_all_site_years_are_alike_the_truth_is_their_common_optimum() {
    let truth = PopulationTruth::sample(5, 400, &PopulationOptions::default());
    // Its own optimum is the same on the fine grid as in the search of the demo's truth, which goes by tenths.
    for point in truth.points().iter().take(40) {
        let fine = super::super::growth::best_rate(|rate| point.net_return(rate, 0.1) + 0.1 * rate, 0.1, 300);
        let alone = truth::best_for(point, 0.1);
        assert!((fine - alone).abs() <= 0.1, "{fine} {alone}");
    }
}
