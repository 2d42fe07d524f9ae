//! Decisions on a curve that is known: yield 40 + 0.60·N − 0.0025·N² up to 120, the plateau 76; grain at 6, N at 0.60. Worked by hand.

use approx::assert_relative_eq;
use proptest::prelude::*;

use super::*;
use crate::response::{Curve, Family, Observations, OptimumStatus};
use crate::trial::PriceSpread;

/// The fit finds the curve again to this, relative.
const REFITTED: f64 = 1e-8;
const GRAIN: f64 = 6.0;
const NITROGEN: f64 = 0.60;

struct Known {
    observations: Observations,
    curve: Curve,
}

impl Known {
    fn new() -> Self {
        Self::with(&[0.0, 40.0, 80.0, 120.0, 160.0], Family::QuadraticPlateau, |n| {
            let n = n.min(120.0);
            40.0 + 0.60 * n - 0.0025 * n * n
        })
    }

    fn with(rates: &[f64], family: Family, yields: impl Fn(f64) -> f64) -> Self {
        let yields: Vec<f64> = rates.iter().map(|rate| yields(*rate)).collect();
        let observations = Observations::new(rates, &yields, None).unwrap();
        let curve = observations.fit(family).curve().unwrap().clone();
        Self { observations, curve }
    }

    fn at(&self, ratio: f64) -> Decision<'_> {
        Decision::new(&self.observations, &self.curve, ratio)
    }
}

fn fixed(price: f64) -> UncertainPrice {
    UncertainPrice { price, spread: None }
}

#[test]
fn other_rates_forgo_what_was_worked_by_hand() {
    let known = Known::new();
    let rates = [60.0, 80.0, 90.0, 100.0, 110.0, 120.0, 140.0];
    let found = known.at(NITROGEN / GRAIN).forgone(&rates, Some(GRAIN));
    for (found, expected) in found.iter().zip([24.0, 6.0, 1.5, 0.0, 1.5, 6.0, 18.0]) {
        assert_relative_eq!(found.forgone_money.unwrap(), expected, max_relative = REFITTED, epsilon = 1e-6);
        assert_relative_eq!(found.forgone_return.unwrap(), expected / GRAIN, max_relative = REFITTED, epsilon = 1e-6);
        assert!(!found.outside_tested_rates && found.reason.is_none());
    }
    assert_relative_eq!(found[3].net_return.unwrap(), 390.0 / GRAIN, max_relative = REFITTED);
}

#[test]
fn nothing_is_forgone_outside_the_tested_rates() {
    let found = Known::new().at(0.1).forgone(&[160.0, 160.5, f64::NAN], None);
    assert!(found[0].forgone_return.is_some() && found[0].forgone_money.is_none());
    for outside in &found[1..] {
        assert!(outside.outside_tested_rates);
        assert_eq!((outside.net_return, outside.forgone_return), (None, None));
        assert_eq!(outside.reason.as_deref(), Some("outside the tested rates, 0 to 160"));
    }
}

#[test]
fn a_pass_decides_between_the_optimum_and_none_and_moves_neither() {
    // The return to N is 150 of the 390.
    let known = Known::new();
    for (cost, better) in [(149.0, Better::Optimum), (151.0, Better::RateZero)] {
        let pass = known.at(0.1).pass(cost, GRAIN);
        assert_eq!(pass.better, Some(better));
        assert_relative_eq!(pass.gain_over_zero.unwrap() * GRAIN, 150.0, max_relative = REFITTED);
        assert_relative_eq!(pass.gain_after_pass.unwrap() * GRAIN, 150.0 - cost, max_relative = 1e-6);
        assert_relative_eq!(pass.cost_in_yield, cost / GRAIN);
    }
    // Nothing pays for N as dear as this, so there is no pass to save.
    let dear = known.at(0.7).pass(8.0, GRAIN);
    assert_eq!((dear.better, dear.gain_over_zero), (Some(Better::RateZero), Some(0.0)));
}

#[test]
fn what_a_pass_earns_is_not_known_where_rate_zero_or_the_best_rate_was_not_tested() {
    let fertilised = Known::with(&[40.0, 80.0, 120.0, 160.0], Family::Quadratic, |n| 40.0 + 0.6 * n - 0.0025 * n * n);
    let pass = fertilised.at(0.1).pass(8.0, GRAIN);
    assert_eq!((pass.better, pass.reason.as_deref()), (None, Some("no plot had rate 0 to compare with")));
    let rising = Known::with(&[0.0, 40.0, 80.0], Family::Linear, |n| 40.0 + 0.2 * n);
    assert_eq!(rising.at(0.1).pass(47.0, GRAIN).better, Some(Better::Optimum), "8 bushels are 48");
    let more = rising.at(0.1).pass(49.0, GRAIN);
    assert!(more.better.is_none() && more.reason.unwrap().contains("beyond the tested ones"));
}

#[test]
fn a_bound_below_the_second_rate_forgoes_nothing_that_is_known() {
    let early = Known::with(&[0.0, 40.0, 80.0, 120.0], Family::LinearPlateau, |n| if n > 0.0 { 60.0 } else { 40.0 });
    let decision = early.at(0.1);
    assert_eq!(decision.best(0.1).1, OptimumStatus::BeforeFirstRate);
    assert!(decision.forgone(&[80.0], None)[0].reason.as_deref().unwrap().contains("only a bound"));
    assert_eq!(decision.pass(1.0, GRAIN).better, None);
    assert_eq!(decision.under(&PriceDraws::new(fixed(GRAIN), fixed(NITROGEN), 10, 1)), None);
}

#[test]
fn each_price_moves_the_optimum_as_the_slope_of_the_curve_says() {
    let known = Known::new();
    let found = known.at(0.1).sensitivity(10.0, Some(GRAIN));
    // f'' is −0.005; the best rate (0.6 − r)/0.005.
    assert_relative_eq!(found.rate_per_price_ratio, -200.0, max_relative = REFITTED);
    let [grain, nitrogen] = found.prices.as_slice() else { panic!("two prices") };
    let best = |ratio: f64| (0.6 - ratio) / 0.005;
    let net = |ratio: f64| known.curve.value(best(ratio)) - ratio * best(ratio);
    for (moved, ratio, price) in [
        (&grain.lower, 0.1 / 0.9, 5.4),
        (&grain.higher, 0.1 / 1.1, 6.6),
        (&nitrogen.lower, 0.09, 6.0),
        (&nitrogen.higher, 0.11, 6.0),
    ] {
        assert_relative_eq!(moved.price_ratio, ratio, max_relative = 1e-14);
        assert_relative_eq!(moved.rate, best(ratio), max_relative = REFITTED);
        assert_relative_eq!(moved.net_return_money.unwrap(), price * net(ratio), max_relative = REFITTED);
    }
    assert_relative_eq!(nitrogen.rate_per_percent, -0.2, max_relative = REFITTED);
    assert_relative_eq!(grain.rate_per_percent, 0.2, max_relative = REFITTED);
}

#[test]
fn curves_without_a_parabola_move_as_their_second_derivatives_say() {
    let rates = [0.0, 40.0, 80.0, 120.0, 160.0];
    let ratio = 0.12_f64;
    // Best rates by hand: 4/(2√N) − 0.1 = r; 30·0.02·e^(−0.02·N) = r.
    let root = Known::with(&rates, Family::SquareRoot, |n| 40.0 + 4.0 * n.sqrt() - 0.1 * n);
    let exponential = Known::with(&rates, Family::ExponentialRise, |n| 40.0 + 30.0 * (1.0 - (-0.02 * n).exp()));
    for (known, best, slope) in [
        (root, (2.0 / (ratio + 0.1)).powi(2), -8.0 / (ratio + 0.1).powi(3)),
        (exponential, (0.6 / ratio).ln() / 0.02, -1.0 / (0.02 * ratio)),
    ] {
        let decision = known.at(ratio);
        // The exponential's shape is found to half the digits of its residuals.
        assert_relative_eq!(decision.best(ratio).0, best, max_relative = 1e-6);
        assert_relative_eq!(decision.sensitivity(10.0, None).rate_per_price_ratio, slope, max_relative = 1e-5);
        let near = near_optimum(&known.curve, best, ratio, Tolerance::YieldUnits(1.0), 0.0, 160.0);
        for end in [near.low, near.high].into_iter().filter(|end| *end < 160.0) {
            assert_relative_eq!(forgone_return(&known.curve, end, best, ratio), 1.0, max_relative = 1e-9);
        }
        assert!(0.0 < near.low && near.low < best && best < near.high);
    }
}

#[test]
fn a_join_and_an_end_of_the_tested_rates_stay_where_they_are() {
    let joined = Known::with(&[0.0, 40.0, 80.0, 120.0, 160.0], Family::LinearPlateau, |n| 40.0 + 0.4 * n.min(100.0));
    assert_eq!(joined.at(0.1).sensitivity(10.0, None).rate_per_price_ratio, 0.0);
    let known = Known::new();
    assert_eq!(known.at(0.7).sensitivity(10.0, None).rate_per_price_ratio, 0.0, "at zero");
    let rising = Known::with(&[0.0, 40.0, 80.0], Family::Linear, |n| 40.0 + 0.2 * n);
    let found = rising.at(0.1).sensitivity(10.0, None);
    assert_eq!(found.rate_per_price_ratio, 0.0);
    assert!(found.prices.iter().all(|price| price.lower.status == OptimumStatus::AtHighestTestedRate));
    assert!(found.prices.iter().all(|price| price.lower.net_return_money.is_none()));
}

#[test]
fn a_price_that_is_known_gives_the_optimum_in_every_draw() {
    let known = Known::new();
    let degenerate =
        UncertainPrice { price: GRAIN, spread: Some(PriceSpread::triangular(GRAIN, GRAIN, GRAIN).unwrap()) };
    let found = known.at(0.1).under(&PriceDraws::new(degenerate, fixed(NITROGEN), 50, 1)).unwrap();
    let optimum = found.optimum;
    assert_eq!((optimum.sd, found.net_return.sd), (0.0, 0.0));
    for rate in [optimum.mean, optimum.q05, optimum.q95, found.best_single_rate] {
        assert_relative_eq!(rate, 100.0, max_relative = REFITTED);
    }
    for net in [found.net_return.mean, found.expected_net_return_of_optimum] {
        assert_relative_eq!(net, 390.0, max_relative = REFITTED);
    }
    assert_eq!((found.share_at_lowest_rate, found.share_at_highest_rate), (0.0, 0.0));
}

#[test]
fn the_optimum_is_distributed_as_the_price_of_n_where_it_is_straight_in_it() {
    // Triangular 0.3 to 1.2 with its mode at 0.6: mean 0.7, sd 0.1870829, quantiles by hand from its distribution function. The best rate
    // is 120 − 200·(price of N)/6, below the join throughout.
    let spread = Some(PriceSpread::triangular(NITROGEN, 0.3, 1.2).unwrap());
    let nitrogen = UncertainPrice { price: NITROGEN, spread };
    let known = Known::new();
    let found = known.at(0.1).under(&PriceDraws::new(fixed(GRAIN), nitrogen, PRICE_DRAWS, 7)).unwrap();
    let rate = |price: f64| 120.0 - 200.0 * price / GRAIN;
    // Four standard errors of a mean of ten thousand draws with an sd of 6.24; quantiles in the tails have two to three times that.
    let (of_mean, of_quantile) = (0.25, 0.75);
    assert_relative_eq!(found.optimum.mean, rate(0.7), epsilon = of_mean);
    assert_relative_eq!(found.optimum.sd, 200.0 * 0.187_082_869 / GRAIN, epsilon = of_mean);
    let quantiles = [
        (found.optimum.q95, 0.416_189_500),
        (found.optimum.q75, 0.559_807_621),
        (found.optimum.q50, 0.680_384_758),
        (found.optimum.q25, 0.832_576_539),
        (found.optimum.q05, 1.035_683_233),
    ];
    for (quantile, price) in quantiles {
        assert_relative_eq!(quantile, rate(price), epsilon = of_quantile);
    }
    assert_relative_eq!(found.best_single_rate, rate(0.7), max_relative = REFITTED);
    assert!(found.expected_net_return_of_best_single_rate > found.expected_net_return_of_optimum);
    // Knowing the price beforehand is worth more than one rate for all.
    assert!(found.net_return.mean > found.expected_net_return_of_best_single_rate);
}

#[test]
fn draws_depend_on_the_seed_alone() {
    let spread = Some(PriceSpread::normal(GRAIN, 1.0).unwrap());
    let draws = |seed| PriceDraws::new(UncertainPrice { price: GRAIN, spread }, fixed(NITROGEN), 20, seed);
    assert_eq!(draws(3), draws(3));
    assert_ne!(draws(3), draws(4));
}

#[test]
fn a_normal_price_is_cut_off_at_nothing() {
    // Means by midpoint integration of the density above 0 (400 000 steps).
    for (price, deviation, mean) in [(6.0, 3.0, 6.165_743_588), (0.6, 0.6, 0.772_559_983), (6.0, 0.5, 6.0)] {
        let spread = Some(PriceSpread::normal(price, deviation).unwrap());
        let uncertain = UncertainPrice { price, spread };
        assert_relative_eq!(uncertain.expected(), mean, max_relative = 1e-9);
        assert_relative_eq!(uncertain.scaled(2.0).expected(), 2.0 * mean, max_relative = 1e-9);
    }
    // Half as wide as the price: a tenth of the draws is near nothing, where N costs many times the grain.
    let spread = Some(PriceSpread::normal(GRAIN, GRAIN).unwrap());
    let draws = PriceDraws::new(UncertainPrice { price: GRAIN, spread }, fixed(NITROGEN), 2_000, 1);
    let found = Known::new().at(0.1).under(&draws).unwrap();
    assert!(found.share_at_lowest_rate > 0.0 && found.optimum.mean.is_finite() && found.net_return.mean.is_finite());
}

#[test]
fn spreads_that_are_none_of_a_price_are_refused() {
    for (lowest, highest) in [(7.0, 8.0), (4.0, 5.0), (8.0, 5.0), (0.0, 8.0), (-1.0, 8.0), (5.0, 1e9), (f64::NAN, 8.0)]
    {
        assert!(PriceSpread::triangular(6.0, lowest, highest).is_err(), "{lowest} {highest}");
    }
    for deviation in [0.0, -1.0, 6.1, f64::NAN, f64::INFINITY] {
        assert!(PriceSpread::normal(6.0, deviation).is_err(), "{deviation}");
    }
}

mod quality {
    use super::super::{QualityPrices, QualityUnknown, premium_of};
    use crate::trial::example::{plot, with_protein};
    use crate::trial::{LodgingLoss, PremiumStep, ProteinPremium};
    use crate::units::MoisturePercent;
    use approx::assert_relative_eq;

    fn premium(moisture: Option<f64>) -> ProteinPremium {
        let step = |from, add| PremiumStep { from, add };
        ProteinPremium {
            moisture: moisture.and_then(MoisturePercent::new),
            steps: vec![step(0.0, -0.6), step(11.0, 0.0), step(12.5, 0.3)],
        }
    }

    #[test]
    fn the_last_step_reached_holds() {
        let steps = premium(None).steps;
        for (protein, add) in [(10.99, -0.6), (11.0, 0.0), (12.49, 0.0), (12.5, 0.3), (16.0, 0.3)] {
            assert_eq!(premium_of(&steps, protein), add, "{protein}");
        }
        assert_eq!(premium_of(&steps[1..], 10.0), 0.0, "below the first step the price is the base price");
    }

    #[test]
    fn a_yield_is_worth_its_premium_less_what_lodges() {
        // 1.05 × 0.85 with a premium of 0.30 on 6.00 and half of a 30 % loss.
        let premium = premium(Some(12.0));
        let loss = LodgingLoss { yield_percent: 30.0, at_score: 9.0 };
        let both = QualityPrices { premium: Some((&premium, 6.0)), lodging: Some(&loss) };
        let mut measured = with_protein(plot("1", "1", 80.0, 70.0), 12.5);
        measured.lodging = Some(4.5);
        assert_relative_eq!(both.factor(&measured).unwrap(), 1.05 * 0.85, max_relative = 1e-14);
        measured.lodging = Some(10.0);
        assert_eq!(both.factor(&measured), Err(QualityUnknown::Lodging), "the scale ends at 9");
        measured.protein = None;
        assert_eq!(both.factor(&measured), Err(QualityUnknown::Protein));
        let nothing = QualityPrices { premium: None, lodging: None };
        assert_eq!(nothing.factor(&measured), Ok(1.0));
    }

    #[test]
    fn protein_is_brought_to_the_moisture_of_the_premium() {
        // 12.2 % at 12 % moisture is 12.2 × 100 ÷ 88 = 13.86 % of the dry matter: over 12.5 dry, and below it at 12 %.
        let measured = with_protein(plot("1", "1", 80.0, 70.0), 12.2);
        let factor = |moisture: Option<f64>| {
            let premium = premium(moisture);
            QualityPrices { premium: Some((&premium, 6.0)), lodging: None }.factor(&measured).unwrap()
        };
        assert_relative_eq!(factor(Some(0.0)), 1.05, max_relative = 1e-14);
        assert_eq!((factor(Some(12.0)), factor(None)), (1.0, 1.0));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// No rate inside the tested ones has a better net return than the best, whatever the family, and no other prices than expected ones
    /// make a better single rate.
    #[test]
    fn nothing_beats_the_best_rate(
        yields in prop::collection::vec(20.0..90.0, 5),
        ratio in 0.0..0.5_f64,
        rate in 0.0..160.0_f64,
    ) {
        let rates = [0.0, 40.0, 80.0, 120.0, 160.0];
        let observations = Observations::new(&rates, &yields, None).unwrap();
        for family in Family::ALL {
            let fit = observations.fit(family);
            let Some(curve) = fit.curve().filter(|curve| curve.family != Family::Mean) else { continue };
            let decision = Decision::new(&observations, curve, ratio);
            let (best, status) = decision.best(ratio);
            if decision.is_bounded_only() {
                continue;
            }
            prop_assert!((0.0..=160.0).contains(&best), "{family} {status:?}");
            prop_assert!(forgone_return(curve, rate, best, ratio) >= -1e-9, "{family} {rate} {best}");
            let forgone = &decision.forgone(&[rate, best], Some(GRAIN))[..];
            prop_assert!(forgone[0].forgone_return.unwrap() >= 0.0 && forgone[1].forgone_return.unwrap() == 0.0);
            let near = near_optimum(curve, best, ratio, Tolerance::YieldUnits(1.0), 0.0, 160.0);
            let inside = near.low <= rate && rate <= near.high;
            prop_assert!(!inside || forgone[0].forgone_return.unwrap() <= 1.0 + 1e-7, "{family} {near:?} {rate}");
            let spread = Some(PriceSpread::normal(GRAIN, 0.3 * GRAIN).unwrap());
            let draws = PriceDraws::new(UncertainPrice { price: GRAIN, spread }, fixed(ratio * GRAIN), 40, 1);
            let found = decision.under(&draws).unwrap();
            let margin = found.expected_net_return_of_best_single_rate - found.expected_net_return_of_optimum;
            prop_assert!(margin >= -1e-8, "{family} {margin}");
        }
    }
}
