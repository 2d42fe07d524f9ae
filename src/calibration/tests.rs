use approx::assert_relative_eq;
use proptest::prelude::*;

use super::*;
use crate::experiment::{Evidence, GroupEvidence, TreatmentEvidence, TrialEvidence};
use crate::response::{Family, OptimumStatus};
use crate::stats::random_effects::Known;
use crate::trial::{NeedFrom, RelationKind};

fn point(site_year: &str, index: f64, known: Known) -> NeedPoint {
    let need = match known {
        Known::Exact(need) => need,
        Known::Between { low, high } => {
            if low.is_finite() {
                low
            } else {
                high
            }
        }
    };
    NeedPoint {
        trial: site_year.to_owned(),
        site_year: site_year.to_owned(),
        site: site_year.to_owned(),
        harvest_year: 2024,
        variety: None,
        need_from: NeedFrom::TopdressResponse,
        n_on: 0.0,
        index,
        plots: 4,
        need,
        low: None,
        high: None,
        known,
        variance: matches!(known, Known::Exact(_)).then_some(25.0),
        curve: [0, (index * 1e6) as usize],
        family: Family::Quadratic,
        optimum_status: OptimumStatus::Interior,
    }
}

/// Site-years about a parabola that is steep where the index is high.
fn parabolic(count: usize) -> Vec<NeedPoint> {
    let mut points = Vec::new();
    for site_year in 0..count {
        let effect = [6.0, -9.0, 3.0, -2.0, 8.0, -6.0][site_year % 6];
        for (number, index) in [0.72, 0.80, 0.88, 0.95].into_iter().enumerate() {
            let index: f64 = index + 0.004 * site_year as f64;
            let s = 1.0 - index;
            let jitter = [2.0, -3.0, 1.0, 1.5][(number + site_year) % 4];
            let need = 10.0 + 520.0 * s - 650.0 * s * s + effect + jitter;
            points.push(point(&format!("s{site_year:02}"), index, Known::Exact(need)));
        }
    }
    points
}

#[test]
fn a_relation_with_exact_needs_and_no_spread_of_its_own_is_generalised_least_squares() {
    // Two needs a site-year, far more of the spread between site-years than within: the slope is that within site-years. By hand: slopes of
    // −300 and −340 of equal weight.
    let exact = |site_year, index, need| point(site_year, index, Known::Exact(need));
    let points = [exact("a", 0.8, 100.0), exact("a", 0.9, 70.0), exact("b", 0.8, 30.0), exact("b", 0.9, -4.0)];
    let line = Relation::fit(RelationKind::Linear, &points).expect("a line");
    let Form::Polynomial(coefficients) = &line.form else { panic!("a polynomial") };
    assert_relative_eq!(coefficients[1], -320.0, max_relative = 1e-6);
    assert_relative_eq!(line.need(0.85), (85.0 + 13.0) / 2.0, max_relative = 1e-6);
    assert!(line.between > 30.0 && line.within < 5.0, "{line:?}");
}

#[test]
fn a_bend_is_found_by_parabola_and_exponential() {
    let points = parabolic(6);
    let parabola = Relation::fit(RelationKind::Quadratic, &points).expect("a parabola");
    let s = |index: f64| 1.0 - index;
    for index in [0.75, 0.85, 0.93] {
        let truth = 10.0 + 520.0 * s(index) - 650.0 * s(index) * s(index);
        assert!((parabola.need(index) - truth).abs() < 4.0, "{} {truth}", parabola.need(index));
        let exponential = Relation::fit(RelationKind::Exponential, &points).expect("an exponential");
        assert!((exponential.need(index) - truth).abs() < 5.0, "{} {truth}", exponential.need(index));
    }
    let line = Relation::fit(RelationKind::Linear, &points).expect("a line");
    assert!(parabola.log_likelihood > line.log_likelihood + 3.0);
}

#[test]
fn surpluses_are_zero_or_less_under_a_floor_only() {
    let mut points = parabolic(4);
    for site_year in 0..4 {
        points.push(point(&format!("s{site_year:02}"), 0.99, Known::Exact(-120.0)));
    }
    let line = Relation::fit(RelationKind::Linear, &points).expect("a line");
    let floor = Relation::fit(RelationKind::LinearWithFloor, &points).expect("a line with a floor");
    // The surplus tilts the plain line.
    assert!(line.need(0.99) < -30.0 && floor.need(0.99) > -20.0, "{} {}", line.need(0.99), floor.need(0.99));
    assert!(floor.rate(0.99) >= 0.0);
}

#[test]
fn what_gives_no_relation_says_why() {
    assert_eq!(Relation::fit(RelationKind::Linear, &[]), Err(NoRelation::NoPoints));
    let same = ["a", "b", "c"].map(|site_year| point(site_year, 0.9, Known::Exact(40.0)));
    assert_eq!(Relation::fit(RelationKind::Quadratic, &same), Err(NoRelation::IndexConstant(0.9)));
    let unreached = |index| point("a", index, Known::Between { low: 100.0, high: f64::INFINITY });
    let bounds = [unreached(0.7), unreached(0.8), unreached(0.9)];
    assert_eq!(Relation::fit(RelationKind::Linear, &bounds), Err(NoRelation::NoNumbers));
    // Needs of zero everywhere are no numbers under a floor.
    let zeros = [0.8, 0.9, 0.95].map(|index| point("a", index, Known::Exact(0.0)));
    assert!(Relation::fit(RelationKind::LinearWithFloor, &zeros).is_err());
    assert!(Relation::fit(RelationKind::Linear, &zeros).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn need_never_rises_with_the_index(
        needs in prop::collection::vec((-60.0..150.0_f64, 0.6..1.05_f64, 0usize..5, 0usize..8), 8..30),
    ) {
        let points: Vec<NeedPoint> = needs
            .iter()
            .map(|(need, index, site_year, what)| {
                let known = match what {
                    0 => Known::Between { low: *need, high: f64::INFINITY },
                    1 => Known::Between { low: f64::NEG_INFINITY, high: *need },
                    _ => Known::Exact(*need),
                };
                point(&format!("s{site_year}"), *index, known)
            })
            .collect();
        for kind in [RelationKind::Linear, RelationKind::LinearWithFloor, RelationKind::Quadratic, RelationKind::Exponential] {
            let Ok(relation) = Relation::fit(kind, &points) else { continue };
            let (low, high) = relation.domain;
            let needs: Vec<f64> = (0..=50).map(|step| relation.need(low + (high - low) * f64::from(step) / 50.0)).collect();
            prop_assert!(needs.iter().all(|need| need.is_finite()), "{kind:?} {relation:?}");
            let slack = 1e-9 * needs.iter().fold(1.0_f64, |size, need| size.max(need.abs()));
            prop_assert!(needs.windows(2).all(|pair| pair[1] <= pair[0] + slack), "{kind:?} {relation:?}");
        }
    }
}

/// Early × topdress trials whose yields are parabolas in the topdress up to the need, which falls with the early N.
fn evidence(site_years: usize, spoil: Option<usize>) -> Evidence {
    let trial = |number: usize| {
        let effect = [0.0, 12.0, -10.0, 6.0, -5.0, 9.0][number % 6];
        let groups = [0.0, 30.0, 60.0, 90.0].map(|early| {
            let need = f64::max(110.0 + effect - 1.05 * early, 0.0);
            let rates: Vec<f64> = [0.0, 40.0, 80.0, 120.0].repeat(3);
            let wiggle = |position: usize| [0.3, -0.4, 0.2, -0.1, 0.35][(position * 7 + number) % 5];
            let at = |(position, rate): (usize, &f64)| {
                let shortfall = f64::max(need - rate, 0.0);
                if spoil == Some(number) {
                    37.0 + (position * 11 % 17) as f64
                } else {
                    75.0 - 0.003 * shortfall * shortfall + wiggle(position)
                }
            };
            GroupEvidence {
                variety: None,
                factors: Vec::new(),
                early_n: Some(early),
                yields: rates.iter().enumerate().map(at).collect(),
                blocks: Some([0, 1, 2].iter().flat_map(|block| [*block; 4]).collect()),
                rates,
                family: Family::QuadraticPlateau,
                detected: Some(true),
                treatments: vec![TreatmentEvidence {
                    n_on: early,
                    index: 1.0 - 0.0024 * need - 0.000_1 * effect,
                    plots: 12,
                    standard_deviation: Some(0.02),
                }],
            }
        });
        TrialEvidence {
            trial: format!("field-{number}"),
            site: format!("Field {number}"),
            harvest_year: 2021 + (number % 3) as i16,
            need_from: NeedFrom::TopdressResponse,
            groups: groups.to_vec(),
        }
    };
    Evidence { trials: (0..site_years).map(trial).collect() }
}

const RATIO: f64 = 0.1;

fn validated(evidence: &Evidence, asked: Option<RelationKind>) -> (Basis, Validation) {
    let basis = Basis::of(evidence);
    let (points, _) = needs(&basis, RATIO, 0.95);
    let materials = Materials::new(points, evidence, RATIO);
    let scoring = Scoring { basis: &basis, price_ratio: RATIO, highest: 120.0, standard: Some(80.0) };
    let validation = hold_out(&materials, &scoring, asked, HoldOut::SiteYear).expect("several site-years");
    (basis, validation)
}

#[test]
fn no_yield_of_what_is_held_out_moves_its_prediction() {
    let (_, intact) = validated(&evidence(5, None), None);
    let (_, spoilt) = validated(&evidence(5, Some(3)), None);
    let of = |validation: &Validation| -> Vec<Vec<u64>> {
        let held_out =
            validation.held_out.iter().find(|held_out| held_out.site_year == "Field 3 2021").expect("held out");
        held_out
            .predictions
            .iter()
            .map(|prediction| {
                let rules = Rule::ALL.into_iter().filter(|rule| *rule != Rule::Hindsight);
                let rates = rules.filter_map(|rule| prediction.rate(rule));
                [prediction.need].into_iter().chain(rates).map(f64::to_bits).collect()
            })
            .collect()
    };
    assert_eq!(of(&intact).len(), 4);
    assert_eq!(of(&intact), of(&spoilt));
}

#[test]
fn nothing_is_forgone_in_hindsight_and_no_rule_does_better() {
    let (_, validation) = validated(&evidence(6, None), None);
    for prediction in validation.held_out.iter().flat_map(|held_out| &held_out.predictions) {
        assert_eq!(prediction.scores.len(), 6);
        assert_eq!(prediction.scores[&Rule::Hindsight].forgone, 0.0);
        for (rule, scored) in &prediction.scores {
            assert!(scored.forgone >= -1e-12, "{rule:?} {scored:?}");
        }
    }
    // The index tells the need to a unit or two, a flat topdress is 45 off on average.
    let forgone = |rule| validation.performance(rule).expect("rates").forgone;
    assert!(
        forgone(Rule::Sensor) < 0.2 * forgone(Rule::FlatTopdress),
        "{} {}",
        forgone(Rule::Sensor),
        forgone(Rule::FlatTopdress)
    );
    assert!(forgone(Rule::GivenEarly) < forgone(Rule::FlatTopdress));
}

#[test]
fn a_verdict_is_the_mean_gain_over_site_years_with_its_interval() {
    // The sensor forgoes 1, the rule given early N forgoes 1 + gain: mean 2.5, s² 1.2, t(.975, 5) = 2.5706.
    let gains = [2.0, 3.5, 1.0, 4.0, 2.5, 2.0];
    let score = |forgone| Scored { rate: 50.0, forgone };
    let held_out = gains.iter().enumerate().map(|(number, gain)| HeldOut {
        site_year: format!("s{number}"),
        kind: Ok(RelationKind::Linear),
        predictions: vec![Prediction {
            point: point("s", 0.8, Known::Exact(50.0)),
            need: 50.0,
            in_domain: true,
            scores: [(Rule::Sensor, score(1.0)), (Rule::GivenEarly, score(1.0 + gain)), (Rule::FlatTotal, score(9.0))]
                .into_iter()
                .collect(),
            is_lower_bound: false,
        }],
    });
    let validation = Validation { by: HoldOut::SiteYear, parts: 6, held_out: held_out.collect() };
    let found = verdict(&validation, 0.95, 1).expect("six site-years");
    assert_eq!((found.word, found.against, found.site_years), (Word::Pays, Rule::GivenEarly, 6));
    assert_relative_eq!(found.gain.estimate.expect("a mean"), 2.5, max_relative = 1e-12);
    let half = 2.570_581_835_636_314 * 1.2_f64.sqrt() / 6.0_f64.sqrt();
    assert_relative_eq!(found.gain.high.expect("a limit"), 2.5 + half, max_relative = 1e-9);
    // All gains are positive: of 64 exchanges only the one found reaches its sum.
    assert_relative_eq!(found.p_value, 1.0 / 64.0, max_relative = 1e-12);
    let two = Validation { held_out: validation.held_out[..2].to_vec(), ..validation.clone() };
    let found = verdict(&two, 0.95, 1).expect("two site-years");
    assert_eq!(found.word, Word::CannotTellYet);
    assert!(found.more_site_years.is_some_and(|more| (1..4).contains(&more)), "{found:?}");
    let one = Validation { held_out: validation.held_out[..1].to_vec(), ..validation };
    assert_eq!(verdict(&one, 0.95, 1), None);
}

#[test]
fn the_interval_of_a_row_is_the_jackknifes() {
    let relation = |need: f64| Relation {
        kind: RelationKind::Linear,
        form: Form::Polynomial(vec![need, 0.0]),
        between: 6.0,
        within: 8.0,
        log_likelihood: 0.0,
        domain: (0.7, 1.0),
        held_from_rising: false,
    };
    let found = Resampled {
        relation: relation(50.0),
        without_one: [48.0, 52.0, 51.0, 49.0].map(relation).to_vec(),
        resamples: Vec::new(),
        attempted: 0,
        names: ["a", "b", "c", "d"].map(str::to_owned).to_vec(),
    };
    // √(3/4·(4 + 4 + 1 + 1)) = 2.7386; t(.975, 3) = 3.182446.
    assert_relative_eq!(found.standard_error(0.8).expect("all four"), 7.5_f64.sqrt(), max_relative = 1e-12);
    let interval = found.rate_interval(0.8, 0.95);
    assert_relative_eq!(
        interval.low.expect("a limit"),
        50.0 - 3.182_446_305_284_263 * 7.5_f64.sqrt(),
        max_relative = 1e-9
    );
    // (36 + 64)·4/2 = 200, and 7.5; t(.9, 2) = 1.885618.
    let range = found.range_of_new_site_years(0.8, 0.8);
    assert_relative_eq!(
        range.high.expect("a limit"),
        50.0 + 1.885_618_083_164_127 * 207.5_f64.sqrt(),
        max_relative = 1e-9
    );
    let lacking = Resampled { without_one: vec![relation(48.0)], ..found };
    assert!(lacking.rate_interval(0.8, 0.95).reason.is_some());
}

#[test]
fn resamples_do_not_depend_on_threads() {
    let evidence = evidence(6, None);
    let (points, _) = needs(&Basis::of(&evidence), RATIO, 0.95);
    let materials = Materials::new(points, &evidence, RATIO);
    let relation = materials.relation(RelationKind::ShortfallLinear).expect("a relation");
    let drawn = || resample(&materials, &relation, 40, 7).expect("a relation").expect("six site-years");
    let one = drawn();
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a pool");
    let forms = |found: &Resampled| found.resamples.iter().map(|one| one.form.clone()).collect::<Vec<Form>>();
    assert_eq!(forms(&pool.install(drawn)), forms(&one));
    assert_eq!(one.resamples.len() as u64 + one.failed(), 40);
    let [low, high] = one.percentiles(0.8, 0.9).expect("resamples");
    assert!(low <= relation.need(0.8) && relation.need(0.8) <= high, "{low} {high}");
}

#[test]
fn a_choice_takes_the_first_kind_that_is_not_told_from_the_best() {
    let evidence = evidence(6, None);
    let basis = Basis::of(&evidence);
    let (points, _) = needs(&basis, RATIO, 0.95);
    let materials = Materials::new(points, &evidence, RATIO);
    let scoring = Scoring { basis: &basis, price_ratio: RATIO, highest: 120.0, standard: None };
    let chosen = choose(&materials, &scoring, None).expect("a kind");
    // All lose next to nothing: which does so least is chance.
    assert_eq!(chosen.kind, RelationKind::CHOSEN_AMONG[0], "{chosen:?}");
    assert_eq!(chosen.tried.len(), RelationKind::CHOSEN_AMONG.len());
    assert!(chosen.tried.iter().all(|tried| tried.forgone.as_ref().is_ok_and(|forgone| *forgone < 0.05)), "{chosen:?}");
    let asked = choose(&materials, &scoring, Some(RelationKind::Quadratic)).expect("as asked");
    assert_eq!((asked.kind, asked.tried.len()), (RelationKind::Quadratic, 0));
}
