//! The curve families and what each can do.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A family of response curves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// No response: one mean.
    Mean,
    /// A straight line.
    Linear,
    /// A parabola.
    Quadratic,
    /// A parabola in the square root of the rate.
    SquareRoot,
    /// A rising line that joins a plateau.
    LinearPlateau,
    /// A rising parabola that joins its plateau at its vertex.
    QuadraticPlateau,
    /// A rise that nears its plateau exponentially and never reaches it.
    ExponentialRise,
}

impl Family {
    /// Every family, simplest first.
    pub const ALL: [Family; 7] = [
        Family::Mean,
        Family::Linear,
        Family::Quadratic,
        Family::SquareRoot,
        Family::LinearPlateau,
        Family::QuadraticPlateau,
        Family::ExponentialRise,
    ];

    /// The family's name in words that files and commands use, for example `quadratic-plateau`.
    pub fn name(self) -> &'static str {
        match self {
            Family::Mean => "mean",
            Family::Linear => "linear",
            Family::Quadratic => "quadratic",
            Family::SquareRoot => "square-root",
            Family::LinearPlateau => "linear-plateau",
            Family::QuadraticPlateau => "quadratic-plateau",
            Family::ExponentialRise => "exponential-rise",
        }
    }

    /// Whether the family has a join, where its plateau begins.
    pub fn has_join(self) -> bool {
        matches!(self, Family::LinearPlateau | Family::QuadraticPlateau)
    }

    /// Mean parameters besides the intercept, the shape included.
    pub(super) fn slopes(self) -> usize {
        match self {
            Family::Mean => 0,
            Family::Linear => 1,
            Family::Quadratic
            | Family::SquareRoot
            | Family::LinearPlateau
            | Family::QuadraticPlateau
            | Family::ExponentialRise => 2,
        }
    }
}

impl fmt::Display for Family {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A name that is no curve family.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no curve family '{name}'; the families are {}", Family::ALL.map(Family::name).join(", "))]
pub struct UnknownFamily {
    /// The name as given.
    pub name: String,
}

impl FromStr for Family {
    type Err = UnknownFamily;

    fn from_str(name: &str) -> Result<Self, UnknownFamily> {
        let known = Family::ALL.into_iter().find(|family| family.name() == name);
        known.ok_or_else(|| UnknownFamily { name: name.to_owned() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_family_is_read_back_from_its_name() {
        for family in Family::ALL {
            assert_eq!(family.name().parse(), Ok(family));
            assert_eq!(serde_json::to_value(family).unwrap(), family.name());
        }
    }

    #[test]
    fn an_unknown_name_lists_the_families() {
        let error = "cubic".parse::<Family>().unwrap_err();
        assert_eq!(
            error.to_string(),
            "there is no curve family 'cubic'; the families are mean, linear, quadratic, square-root, linear-plateau, \
             quadratic-plateau, exponential-rise"
        );
    }
}
