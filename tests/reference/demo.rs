//! Properties that the demo's rule must have, whatever its numbers.

use rand::SeedableRng as _;
use rand::seq::SliceRandom as _;
use rand_chacha::ChaCha8Rng;
use stook::calibration::{HoldOut, NeedPoint, Rule};
use stook::rate_table::{Asked, Document, RateTable, Settings, Status};
use stook::season::{Season, TableResult};
use stook::trial::{Harvest, Outside, Programme};
use stook::units::{Yield, YieldUnit};

use crate::programme::{demo, demo_programme, run};

fn result<'a>(season: &'a Season, name: &str) -> &'a TableResult {
    season.tables.iter().find(|table| table.specification.name == name).expect("a table of the demo")
}

pub fn table(name: &str) -> &'static RateTable {
    result(demo(), name).derived.table.as_ref().expect("the demo gives a table")
}

fn rate(table: &RateTable, reading: &str, reference: &str) -> Option<f64> {
    table.lookup(reading, reference, &Asked::default()).rate
}

// Check values of the trade for a leaf meter: common practice, no source.

#[test]
fn a_stand_mean_of_51_against_a_rich_55_is_an_index_of_0_927() {
    let found = table("leaf-jointing").lookup("51", "55", &Asked::default());
    assert_eq!(found.index, Some(0.927));
    assert_eq!(found.status, Status::InDomain);
}

#[test]
fn need_never_rises_with_the_index() {
    for name in ["leaf-jointing", "canopy-jointing"] {
        let document = table(name).document();
        for price in 0..document.prices.len() {
            let rates: Vec<f64> = document.rows.iter().filter_map(|row| row.rates[price].rate).collect();
            assert!(rates.len() > 2, "{name}: {rates:?}");
            assert!(rates.windows(2).all(|pair| pair[0] >= pair[1]), "{name}: {rates:?}");
            assert!(rates.first() > rates.last(), "{name} tells rates apart: {rates:?}");
        }
    }
}

#[test]
fn half_the_rich_reading_is_below_the_domain_and_has_no_rate() {
    let found = table("leaf-jointing").lookup("28", "55", &Asked::default());
    assert_eq!((found.status, found.rate), (Status::BelowDomain, None));
}

#[test]
fn half_the_rich_reading_takes_the_largest_rate_flagged_where_the_programme_asks_for_the_nearest_row() {
    let strict = table("leaf-jointing");
    let nearest = RateTable::new(Document {
        settings: Settings { outside: Outside::NearestRow, ..strict.document().settings.clone() },
        ..strict.document().clone()
    })
    .expect("a valid table");
    let found = nearest.lookup("28", "55", &Asked::default());
    let largest = strict.document().rows.iter().filter_map(|row| row.rates[0].rate).fold(0.0, f64::max);
    assert_eq!((found.status, found.rate), (Status::BelowDomain, Some(largest)));
    assert!(found.nearest_row_used);
}

#[test]
fn a_canopy_of_0_65_gets_at_least_as_much_as_one_of_0_73_under_one_reference() {
    let canopy = table("canopy-jointing");
    let low = rate(canopy, "0.65", "0.80").expect("in the domain");
    let high = rate(canopy, "0.73", "0.80").expect("in the domain");
    assert!(low >= high, "{low} {high}");
}

#[test]
fn dearer_nitrogen_never_raises_a_rate() {
    for name in ["leaf-jointing", "canopy-jointing"] {
        let document = table(name).document();
        let mut by_ratio: Vec<usize> = (0..document.prices.len()).collect();
        by_ratio.sort_by(|a, b| document.prices[*a].price_ratio.total_cmp(&document.prices[*b].price_ratio));
        for row in &document.rows {
            let rates: Vec<f64> = by_ratio.iter().filter_map(|price| row.rates[*price].rate).collect();
            assert!(rates.windows(2).all(|pair| pair[0] >= pair[1]), "{name} {row:?}");
        }
    }
}

#[test]
fn every_plot_of_every_trial_is_used_or_has_a_reason() {
    let season = demo();
    for (trial, result) in season.programme.trials.iter().zip(&season.trials) {
        assert_eq!(trial.plots.len(), result.harvest.yields.len());
        let entered: usize = result.groups.iter().map(|group| group.group.rates.len()).sum();
        let left_out: usize = result.groups.iter().map(|group| group.group.left_out.len()).sum();
        let enters = trial.reference.is_some_and(|reference| reference.also_treatment);
        let rich = trial.plots.iter().filter(|plot| plot.is_reference && !enters).count();
        assert_eq!(entered + left_out + rich, trial.plots.len(), "{}", trial.folder);
    }
}

/// Multiplies every yield of a site-year by its own factor.
fn corrupt(programme: &mut Programme, site_year: &str) {
    for trial in programme.trials.iter_mut().filter(|trial| trial.site_year() == site_year) {
        for (position, plot) in trial.plots.iter_mut().enumerate() {
            if plot.harvest.is_some() {
                let corrupted = 20.0 + ((position * 37) % 60) as f64;
                plot.harvest =
                    Some(Harvest::Yield { quantity: Yield::new(corrupted, YieldUnit::BushelsPerAcre), moisture: None });
            }
        }
    }
}

#[test]
fn a_held_out_site_year_is_predicted_without_its_own_yields() {
    let intact = demo();
    for site_year in ["Upper Terrace 2024", "Osier Bend 2023"] {
        let mut programme = demo_programme();
        corrupt(&mut programme, site_year);
        let corrupted = run(programme);
        for name in ["leaf-jointing", "canopy-jointing"] {
            // The index, the need and every rule's rate that does not look at the point's own curve.
            let predictions = |season: &Season| -> Vec<Vec<u64>> {
                let by_site_year = result(season, name)
                    .derived
                    .validations
                    .iter()
                    .filter(|validation| validation.by == HoldOut::SiteYear);
                let held_out = by_site_year
                    .flat_map(|validation| &validation.held_out)
                    .filter(|held_out| held_out.site_year == site_year);
                held_out
                    .flat_map(|held_out| &held_out.predictions)
                    .map(|prediction| {
                        let rates = Rule::ALL.into_iter().filter(|rule| *rule != Rule::Hindsight);
                        let rates = rates.filter_map(|rule| prediction.rate(rule));
                        [prediction.point.index, prediction.need].into_iter().chain(rates).map(f64::to_bits).collect()
                    })
                    .collect()
            };
            let before = predictions(intact);
            assert!(before.len() >= 4 && before[0].len() == 7, "{site_year} {name}");
            assert_eq!(before, predictions(&corrupted), "{site_year} {name}");
            // The corruption did reach the needs.
            let needs = |season: &Season| -> Vec<f64> {
                let points = &result(season, name).derived.calibrations[0].points;
                points.iter().filter(|point| point.site_year == site_year).map(|point| point.need).collect()
            };
            assert_ne!(needs(intact), needs(&corrupted));
        }
    }
}

/// Correlation of need with index within trials: shuffling within trials leaves what differs between them. A control, no evidence.
fn correlation(points: &[NeedPoint]) -> f64 {
    let centred = |of: fn(&NeedPoint) -> f64| -> Vec<f64> {
        let of_trial = |point: &NeedPoint| -> Vec<f64> {
            points.iter().filter(|other| other.trial == point.trial).map(of).collect()
        };
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        points.iter().map(|point| of(point) - mean(&of_trial(point))).collect()
    };
    let (x, y) = (centred(|point| point.index), centred(|point| point.need));
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    product(&x, &y) / (product(&x, &x) * product(&y, &y)).sqrt()
}

#[test]
fn shuffling_readings_within_trials_makes_the_relation_vanish() {
    let mut programme = demo_programme();
    let mut random = ChaCha8Rng::seed_from_u64(5);
    for trial in &mut programme.trials {
        // Whole plots swap their readings; the N-rich plots keep theirs.
        let mut plots: Vec<usize> = (0..trial.plots.len()).filter(|plot| !trial.plots[*plot].is_reference).collect();
        let before = plots.clone();
        plots.shuffle(&mut random);
        let mut becomes: Vec<usize> = (0..trial.plots.len()).collect();
        for (from, to) in before.into_iter().zip(plots) {
            becomes[from] = to;
        }
        for reading in &mut trial.readings {
            reading.plot = becomes[reading.plot];
        }
    }
    let shuffled = run(programme);
    for name in ["leaf-jointing", "canopy-jointing"] {
        let intact = correlation(&result(demo(), name).derived.calibrations[0].points);
        let after = correlation(&result(&shuffled, name).derived.calibrations[0].points);
        assert!(intact < -0.6, "{name}: {intact}");
        assert!(after.abs() < 0.3, "{name}: {after}");
    }
}
