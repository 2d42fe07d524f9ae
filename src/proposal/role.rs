//! The roles that a column may play, and how sure a role is.

use std::fmt;

/// What a column is to a trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Names the plot, alone or with other columns.
    Plot,
    /// Block.
    Block,
    /// Variety.
    Variety,
    /// N of an application, as it went on.
    NRate,
    /// N of an application, as planned.
    PlannedNRate,
    /// Marks the plots of the N-rich reference.
    Kind,
    /// Levels of a factor beside N and variety.
    Factor,
    /// Canopy NDVI on one date.
    CanopyNdvi,
    /// Leaf chlorophyll readings, or their plot means, on one date.
    LeafChlorophyll,
    /// Yield.
    Yield,
    /// Harvested weight.
    Weight,
    /// Moisture at harvest.
    Moisture,
    /// Grain protein.
    Protein,
    /// Test weight.
    TestWeight,
    /// Lodging score.
    Lodging,
    /// Tillers counted.
    Tillers,
    /// Plants counted.
    Plants,
    /// Site.
    Site,
    /// Year of harvest.
    Year,
    /// Date of a reading, one row a reading.
    Date,
    /// Growth stage of a reading.
    Stage,
    /// Number of the leaf read.
    Leaf,
    /// Where on the plant the leaf sat.
    LeafPosition,
    /// Number of the pass of a canopy sensor.
    Pass,
    /// Red reflectance.
    Red,
    /// Near-infrared reflectance.
    NearInfrared,
    /// Value of a reading.
    Value,
    /// Which instrument took a reading.
    Instrument,
    /// No role.
    None,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 29] = [
        Self::Plot,
        Self::Block,
        Self::Variety,
        Self::NRate,
        Self::PlannedNRate,
        Self::Kind,
        Self::Factor,
        Self::CanopyNdvi,
        Self::LeafChlorophyll,
        Self::Yield,
        Self::Weight,
        Self::Moisture,
        Self::Protein,
        Self::TestWeight,
        Self::Lodging,
        Self::Tillers,
        Self::Plants,
        Self::Site,
        Self::Year,
        Self::Date,
        Self::Stage,
        Self::Leaf,
        Self::LeafPosition,
        Self::Pass,
        Self::Red,
        Self::NearInfrared,
        Self::Value,
        Self::Instrument,
        Self::None,
    ];

    /// Its name, as it is shown and typed.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Plot => "plot",
            Self::Block => "block",
            Self::Variety => "variety",
            Self::NRate => "n-rate",
            Self::PlannedNRate => "planned-n-rate",
            Self::Kind => "reference-mark",
            Self::Factor => "factor",
            Self::CanopyNdvi => "canopy-ndvi",
            Self::LeafChlorophyll => "leaf-chlorophyll",
            Self::Yield => "yield",
            Self::Weight => "weight",
            Self::Moisture => "moisture",
            Self::Protein => "protein",
            Self::TestWeight => "test-weight",
            Self::Lodging => "lodging",
            Self::Tillers => "tillers",
            Self::Plants => "plants",
            Self::Site => "site",
            Self::Year => "year",
            Self::Date => "date",
            Self::Stage => "stage",
            Self::Leaf => "leaf",
            Self::LeafPosition => "leaf-position",
            Self::Pass => "pass",
            Self::Red => "red",
            Self::NearInfrared => "near-infrared",
            Self::Value => "value",
            Self::Instrument => "instrument",
            Self::None => "none",
        }
    }

    /// The role of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name.trim())
    }
}

/// How sure a role is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Confidence {
    /// Little speaks for it: it is written as a comment.
    Unsure,
    /// Something else is possible: it is written, with a comment.
    Likely,
    /// Header and values agree.
    Sure,
}

impl fmt::Display for Confidence {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(match self {
            Self::Unsure => "unsure",
            Self::Likely => "likely",
            Self::Sure => "sure",
        })
    }
}

/// A role for a column, with the reason.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Judged {
    pub(super) role: Role,
    pub(super) confidence: Confidence,
    /// Why, in words.
    pub(super) reason: String,
}

impl Judged {
    pub(super) fn sure(role: Role, reason: impl Into<String>) -> Self {
        Self { role, confidence: Confidence::Sure, reason: reason.into() }
    }

    pub(super) fn likely(role: Role, reason: impl Into<String>) -> Self {
        Self { role, confidence: Confidence::Likely, reason: reason.into() }
    }

    pub(super) fn unsure(role: Role, reason: impl Into<String>) -> Self {
        Self { role, confidence: Confidence::Unsure, reason: reason.into() }
    }

    pub(super) fn none(reason: impl Into<String>) -> Self {
        Self { role: Role::None, confidence: Confidence::Likely, reason: reason.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_role_is_found_by_its_name() {
        for role in Role::ALL {
            assert_eq!(Role::named(role.name()), Some(role));
        }
        assert_eq!(Role::named("rate"), None);
    }
}
