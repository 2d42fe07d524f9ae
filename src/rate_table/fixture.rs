//! A made-up table that the tests of this room change.

use super::*;
use crate::experiment::{Evidence, GroupEvidence, TreatmentEvidence, TrialEvidence};
use crate::response::Family;
use crate::stats::interval::Interval;
use crate::trial::{GrowthStage, InputFile, Instrument, NeedFrom, Outside};
use std::collections::BTreeMap;

pub(crate) fn interval(estimate: f64, spread: f64) -> RowInterval {
    let (low, high) = (Some(estimate - spread), Some(estimate + spread));
    RowInterval {
        interval: Interval::between(Some(estimate), low, high, 0.9, "site-year-bootstrap"),
        note: Some("coverage not measured for 3 site-years".to_owned()),
    }
}

fn new_site_years(estimate: f64, spread: f64) -> RowInterval {
    let (low, high) = (Some((estimate - spread).max(0.0)), Some(estimate + spread));
    let interval = Interval::between(Some(estimate), low, high, 0.8, "site-year-prediction");
    RowInterval { interval, note: None }
}

/// Two treatments on one curve.
fn evidence() -> Evidence {
    let treatment = |n_on, index| TreatmentEvidence { n_on, index, plots: 4, standard_deviation: Some(0.012) };
    let group = GroupEvidence {
        variety: Some("Pale Heron".to_owned()),
        factors: Vec::new(),
        early_n: None,
        rates: vec![0.0, 40.0, 80.0, 0.0, 40.0, 80.0],
        yields: vec![51.2, 64.0, 68.9, 49.7, 66.1, 70.3],
        blocks: Some(vec![0, 0, 0, 1, 1, 1]),
        family: Family::Quadratic,
        detected: Some(true),
        treatments: vec![treatment(0.0, 0.712), treatment(40.0, 1.013)],
    };
    let trial = TrialEvidence {
        trial: "upper-terrace-2024".to_owned(),
        site: "Upper Terrace".to_owned(),
        harvest_year: 2024,
        need_from: NeedFrom::DifferenceFromOptimum,
        groups: vec![group],
    };
    Evidence { trials: vec![trial] }
}

pub(crate) fn stage(text: &str) -> GrowthStage {
    GrowthStage::parse(text).unwrap()
}

/// Rows from 0.70 to 1.00 by 0.05 at two price ratios; the last row has no rate at the second.
pub(crate) fn leaf() -> Document {
    let base = [Some(120.0), Some(95.0), Some(70.0), Some(45.0), Some(20.0), Some(0.0)];
    let dear = [Some(105.0), Some(80.0), Some(55.0), Some(30.0), Some(5.0), None];
    let rows = base.iter().zip(dear).enumerate().map(|(i, (&cheap, dear))| Row {
        index_from: 700 + 50 * i as u32,
        index_below: 750 + 50 * i as u32,
        rates: [cheap, dear]
            .map(|rate| RowRate {
                rate,
                interval: rate.map(|rate| interval(rate + 1.3, 12.0)),
                new_site_years: rate.map(|rate| new_site_years(rate + 1.3, 31.0)),
            })
            .to_vec(),
        support: Support { site_years: 3, points: 9, plots: 36 },
        note: None,
    });
    let price = |price_ratio, base| Price { price_ratio, price_ratio_unit: "bu/lb".to_owned(), base, money: None };
    let site_year = |site: &str, harvest_year, need_from| SiteYear {
        site: site.to_owned(),
        harvest_year,
        trial: format!("{}-{harvest_year}", site.to_lowercase().replace(' ', "-")),
        need_from,
    };
    Document {
        schema: String::new(),
        digest: String::new(),
        version: "0.1.0".to_owned(),
        name: "leaf-jointing".to_owned(),
        title: "Larkwater valley winter wheat".to_owned(),
        crop: "wheat".to_owned(),
        instrument: Instrument::LeafChlorophyll,
        stages: Stages { first: stage("Feekes 5"), last: stage("Feekes 6") },
        varieties: vec!["Pale Heron".to_owned(), "Dun Plover".to_owned()],
        reference: reference_instructions(Instrument::LeafChlorophyll).to_owned(),
        usable: UsableReadings::of(Instrument::LeafChlorophyll),
        lookup_rule: Vec::new(),
        rate_unit: "lb/ac".to_owned(),
        yield_unit: "bu/ac".to_owned(),
        currency: Some("USD".to_owned()),
        prices: vec![price(0.1, true), price(0.15, false)],
        settings: Settings {
            index: IndexRows { lowest: 700, highest: 1000, step: 50 },
            rate: RateRule { round_to: 5.0, highest: 120.0, smallest: 0.0 },
            outside: Outside::NoRate,
            varieties: Vec::new(),
            relation: None,
            relation_taken: "linear".to_owned(),
            interval_method: "site-year-bootstrap".to_owned(),
            level: 0.9,
            new_site_years: 0.8,
            replicates: 999,
            permutations: 199,
        },
        seed: Some(20_250_611),
        rows: rows.collect(),
        domain: Domain { lowest: 712, highest: 1013 },
        relations: vec![Relation {
            kind: "linear".to_owned(),
            price_ratio: 0.1,
            coefficients: BTreeMap::from([("intercept".to_owned(), 487.5), ("slope".to_owned(), -496.25)]),
            sigma: Some(14.2),
        }],
        site_years: vec![
            site_year("Upper Terrace", 2024, NeedFrom::DifferenceFromOptimum),
            site_year("Osier Bend", 2025, NeedFrom::TopdressResponse),
        ],
        verdict: Some(Verdict {
            verdict: VerdictWord::CannotTellYet,
            sensor_rule: 9.25,
            flat_rule: 11.5,
            flat_rule_is: "one total for all, minus the N already on".to_owned(),
            unit: "USD/ac".to_owned(),
            site_years: 2,
        }),
        cautions: Vec::new(),
        warnings: vec![Warning { code: "few-site-years".to_owned(), text: "only 2 site-years".to_owned() }],
        inputs: vec![InputFile { file: "upper-terrace-2024/plots.csv".to_owned(), sha256: "ab".repeat(32) }],
        evidence: Some(evidence()),
    }
}

pub(crate) fn table(change: impl FnOnce(&mut Document)) -> RateTable {
    let mut document = leaf();
    change(&mut document);
    RateTable::new(document).unwrap()
}

/// The same for canopy readings, giving the nearest row's rate, with the two lowest rows empty.
pub(crate) fn canopy() -> RateTable {
    table(|document| {
        document.name = "canopy-jointing".to_owned();
        document.instrument = Instrument::CanopyNdvi;
        document.usable = UsableReadings::of(Instrument::CanopyNdvi);
        document.settings.outside = Outside::NearestRow;
        for row in &mut document.rows[..2] {
            row.rates.fill(RowRate { rate: None, interval: None, new_site_years: None });
        }
    })
}
