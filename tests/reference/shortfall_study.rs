//! One stage or two? Simulated programmes, each calibrated both ways, and what the rules forgo on site-years that they have not seen.
//!
//! The whole simulation takes some minutes and writes `reports/shortfall`:
//! `cargo test --release --test reference -- --ignored --nocapture shortfall_study::full`. The reduced one takes the first programmes of some cells, so it
//! must agree with the committed table but for chance.

mod table;
mod truth;

use rayon::prelude::*;
use stook::calibration::shortfall::{Nuisance, Shape, Shortfall, ShortfallData, ShortfallModel, fit_by_test};
use stook::calibration::{Basis, Materials, needs};
use stook::experiment::Evidence;
use stook::stats::stream::stream;
use stook::trial::RelationKind;
use truth::{Design, HIGHEST, PRICE_RATIO, SiteYear, Truth, programme};

const SEED: u64 = 40_617;
/// Programmes of each cell in the committed table.
const PROGRAMMES: u64 = 120;
/// Programmes of each cell in the reduced run.
const REDUCED: u64 = 24;
/// Site-years that each rule is tried on.
const UNSEEN: usize = 12;

/// A cell of the table.
#[derive(Clone, Copy, Debug)]
pub struct Cell {
    truth: Truth,
    design: Design,
    site_years: usize,
    cv_percent: f64,
}

impl Cell {
    fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for truth in Truth::ALL {
            for design in Design::ALL {
                for site_years in [4, 8, 16] {
                    for cv_percent in [3.0, 6.0, 9.0] {
                        all.push(Self { truth, design, site_years, cv_percent });
                    }
                }
            }
        }
        all
    }
}

/// A way to calibrate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    TwoStage(RelationKind),
    OneStage(Shape, Nuisance),
    /// A parabola, the nuisance by the test.
    ByTest,
}

impl Way {
    const ALL: [Self; 8] = [
        Self::TwoStage(RelationKind::Linear),
        Self::TwoStage(RelationKind::Quadratic),
        Self::OneStage(Shape::Line, Nuisance::Block),
        Self::OneStage(Shape::Line, Nuisance::BlockByEarlyLevel),
        Self::OneStage(Shape::Parabola, Nuisance::Block),
        Self::OneStage(Shape::Parabola, Nuisance::BlockByEarlyLevel),
        Self::OneStage(Shape::Spline, Nuisance::BlockByEarlyLevel),
        Self::ByTest,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Self::TwoStage(RelationKind::Linear) => "two-stage linear",
            Self::TwoStage(_) => "two-stage quadratic",
            Self::OneStage(Shape::Line, Nuisance::Block) => "line block",
            Self::OneStage(Shape::Line, Nuisance::BlockByEarlyLevel) => "line block × early",
            Self::OneStage(Shape::Parabola, Nuisance::Block) => "parabola block",
            Self::OneStage(Shape::Parabola, Nuisance::BlockByEarlyLevel) => "parabola block × early",
            Self::OneStage(Shape::Spline, Nuisance::Block) => "spline block",
            Self::OneStage(Shape::Spline, Nuisance::BlockByEarlyLevel) => "spline block × early",
            Self::ByTest => "parabola by test",
        }
    }
}

/// What a way did, by programme.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Mean forgone return, mean square and mean of the rate's error.
    of_programme: Vec<[f64; 3]>,
    without: usize,
    finer: usize,
}

impl Tally {
    fn programmes(&self) -> usize {
        self.of_programme.len() + self.without
    }

    fn mean(&self, which: usize) -> f64 {
        self.of_programme.iter().map(|values| values[which]).sum::<f64>() / self.of_programme.len() as f64
    }

    /// Mean forgone return and its standard error.
    fn forgone(&self) -> (f64, f64) {
        let mean = self.mean(0);
        let squares: f64 = self.of_programme.iter().map(|values| (values[0] - mean).powi(2)).sum();
        let n = self.of_programme.len() as f64;
        (mean, (squares / (n - 1.0) / n).sqrt())
    }

    /// Root mean square error of the rate, and its bias.
    fn rate(&self) -> (f64, f64) {
        (self.mean(1).sqrt(), self.mean(2))
    }

    fn share_finer(&self) -> f64 {
        self.finer as f64 / self.of_programme.len() as f64
    }
}

/// The rate of a rule at an index.
type Rule = Box<dyn Fn(f64) -> f64>;

/// Every way's rule from one programme, with whether the finer nuisance was chosen.
fn rules(evidence: &Evidence, data: &ShortfallData) -> Vec<Option<(Rule, bool)>> {
    let (points, _) = needs(&Basis::of(evidence), PRICE_RATIO, 0.95);
    let materials = Materials::new(points, evidence, PRICE_RATIO);
    let one_stage = |fit: Shortfall| {
        let finer = fit.model.nuisance == Nuisance::BlockByEarlyLevel;
        (Box::new(move |index| fit.rate(index, PRICE_RATIO)) as Rule, finer)
    };
    let rule = |way: &Way| match *way {
        Way::TwoStage(kind) => {
            let relation = materials.relation(kind).ok()?;
            Some((Box::new(move |index| relation.rate(index)) as Rule, false))
        }
        Way::OneStage(shape, nuisance) => {
            Shortfall::fit(data, ShortfallModel::new(shape, nuisance), None).ok().map(one_stage)
        }
        Way::ByTest => fit_by_test(data, Shape::Parabola, None).ok().map(|(fit, _)| one_stage(fit)),
    };
    Way::ALL.iter().map(rule).collect()
}

/// The lowest and highest index of a programme.
fn domain(evidence: &Evidence) -> (f64, f64) {
    let groups = evidence.trials.iter().flat_map(|trial| &trial.groups);
    let indices = groups.flat_map(|group| group.treatments.iter().map(|treatment| treatment.index));
    indices.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), index| (low.min(index), high.max(index)))
}

/// One programme: for each way the mean forgone return, mean square and mean of the rate's error on unseen site-years.
fn one(cell: &Cell, number: u64) -> Vec<Option<([f64; 3], bool)>> {
    let mut random = stream(SEED, number);
    let evidence = programme(cell.truth, &cell.design, cell.site_years, cell.cv_percent, &mut random);
    let data = ShortfallData::of(&evidence).expect("early × topdress trials");
    let (low, high) = domain(&evidence);
    let rules = rules(&evidence, &data);
    let mut sums = vec![[0.0; 3]; rules.len()];
    let points = (UNSEEN * cell.design.early.len()) as f64;
    for _ in 0..UNSEEN {
        let unseen = SiteYear::draw(cell.truth, &mut random);
        for early in cell.design.early {
            let plots = cell.design.blocks * truth::TOPDRESS.len();
            let index = unseen.index(*early, plots, cell.design.blocks, &mut random).clamp(low, high);
            let best = unseen.optimum(*early);
            for (rule, sums) in rules.iter().zip(&mut sums) {
                let Some((rule, _)) = rule else { continue };
                let rate = rule(index).clamp(0.0, HIGHEST);
                sums[0] += unseen.forgone(*early, rate) / points;
                sums[1] += (rate - best).powi(2) / points;
                sums[2] += (rate - best) / points;
            }
        }
    }
    rules.into_iter().zip(sums).map(|(rule, sums)| rule.map(|(_, finer)| (sums, finer))).collect()
}

fn run(cell: &Cell, programmes: u64) -> Vec<(Way, Tally)> {
    let all: Vec<_> = (0..programmes).into_par_iter().map(|number| one(cell, number)).collect();
    let mut tallies: Vec<(Way, Tally)> = Way::ALL.iter().map(|way| (*way, Tally::default())).collect();
    for found in &all {
        for (found, (_, tally)) in found.iter().zip(&mut tallies) {
            match found {
                Some((values, finer)) => {
                    tally.of_programme.push(*values);
                    tally.finer += usize::from(*finer);
                }
                None => tally.without += 1,
            }
        }
    }
    tallies
}

/// Standard errors by which a mean may be off by chance.
const BY_CHANCE: f64 = 4.0;

#[test]
#[ignore = "simulates some dozen programmes of some cells"]
fn reduced_study_is_what_the_committed_table_says() {
    let committed = table::Committed::read();
    let wanted = |cell: &Cell| cell.design == Design::ALL[1] && cell.site_years == 8 && cell.cv_percent != 6.0;
    for cell in Cell::all().into_iter().filter(wanted) {
        for (way, tally) in run(&cell, REDUCED) {
            let (known, error) = committed.forgone(&cell, way).expect("a row of the committed table");
            let (found, _) = tally.forgone();
            // The error of the mean of fewer programmes.
            let chance = BY_CHANCE * error * (PROGRAMMES as f64 / REDUCED as f64).sqrt();
            assert!((found - known).abs() <= chance, "{cell:?} {way:?}: {found} against {known} ± {chance}");
        }
    }
}

#[test]
#[ignore = "some minutes: every cell, written to reports/shortfall"]
fn full_study_is_written_to_the_reports() {
    let runs: Vec<(Cell, Vec<(Way, Tally)>)> = Cell::all()
        .into_iter()
        .map(|cell| {
            println!("{cell:?}");
            (cell, run(&cell, PROGRAMMES))
        })
        .collect();
    table::write(&runs);
}
