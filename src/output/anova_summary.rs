//! What analyses of variance say of N, in a few lines.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::anova::{AnalysisOf, Anova, SourceOf};
use super::layout::paragraph;
use super::numbers::{count, p_value};

/// An effect is significant where p is below this.
const ALPHA: f64 = 0.05;
/// Trials that are named, at most.
const NAMED: usize = 3;

/// The F tests of N in one analysis of variance.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct NTests {
    /// What tells it from the others.
    pub group: Map<String, Value>,
    /// The trials or site-years that take part, where it is of several.
    pub site_years: Vec<String>,
    /// Each amount of N that was varied, and amounts together.
    pub tests: Vec<SourceOf>,
}

impl NTests {
    fn of(analysis: &AnalysisOf) -> Self {
        let rows = analysis.tables.iter().flat_map(|table| &table.rows).filter(|row| row.part_of.is_none());
        let of_n = rows.filter(|row| row.source.split(" × ").all(|factor| analysis.is_rate(factor)));
        Self { group: analysis.group.clone(), site_years: analysis.site_years.clone(), tests: of_n.cloned().collect() }
    }

    fn is_significant(&self) -> bool {
        self.tests.iter().filter_map(|test| test.p).any(|p| p < ALPHA)
    }

    fn is_tested(&self) -> bool {
        self.tests.iter().any(|test| test.p.is_some())
    }

    /// *early N p = 0.001, topdress N p < 0.001*.
    fn text(&self) -> String {
        let each = self.tests.iter().filter_map(|test| Some(format!("{} {}", test.source, p_value(test.p?))));
        each.collect::<Vec<_>>().join(", ")
    }
}

/// The tests of N of every analysis in which N varied.
pub(super) fn n_tests(anova: &Anova) -> Vec<NTests> {
    anova.analyses.iter().map(NTests::of).filter(|tests| !tests.tests.is_empty()).collect()
}

/// In how many trials N shows, and what site-years say together; empty without a test.
pub(super) fn analysis_of_variance(analyses: &[NTests]) -> String {
    let (together, trials): (Vec<&NTests>, Vec<&NTests>) =
        analyses.iter().filter(|tests| tests.is_tested()).partition(|tests| !tests.site_years.is_empty());
    if trials.is_empty() {
        return String::new();
    }
    let not: Vec<&str> = trials
        .iter()
        .filter(|tests| !tests.is_significant())
        .filter_map(|tests| tests.group.get("trial")?.as_str())
        .collect();
    let named = if (1..=NAMED).contains(&not.len()) { format!(", not in {}", not.join(", ")) } else { String::new() };
    let mut words = format!(
        "Analysis of variance: N raises or lowers yields in {} of {} (F test, p < {ALPHA}){named}.",
        trials.len() - not.len(),
        count(trials.len(), "trial"),
    );
    for tests in together {
        words += &format!(" {} site-years together: {}.", tests.site_years.len(), tests.text());
    }
    format!("\n{}", paragraph("", &words))
}
