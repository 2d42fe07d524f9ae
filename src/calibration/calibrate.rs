//! The points of a price ratio, the relation through them and how well it is known.

use super::basis::Basis;
use super::choose::{Chosen, choose};
use super::materials::Materials;
use super::points::{NeedPoint, SetAside, needs};
use super::relation::{NoRelation, Relation};
use super::returns::Scoring;
use super::row_interval::{Resampled, resample};
use super::{site_years, validation};
use crate::experiment::Evidence;
use crate::trial::RelationKind;
use std::collections::BTreeSet;

/// What a calibration is asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CalibrationOptions {
    /// The kind of relation; `None` leaves the choice to validation on held-out site-years.
    pub relation: Option<RelationKind>,
    /// Level of the intervals of optima, 0 to 1.
    pub level: f64,
    /// The largest rate of any rule, in the rate unit.
    pub highest: f64,
    /// The programme's standard rate, where it has one.
    pub standard: Option<f64>,
    /// Seed of what is left to chance.
    pub seed: u64,
}

/// Everything a table is calibrated from, at one price ratio.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// The points, in order of trial, variety and N already on.
    pub points: Vec<NeedPoint>,
    /// Trials and plots that give no point at this price ratio, with the reason.
    pub set_aside: Vec<SetAside>,
    /// The kind that the rates come from, or why there is none.
    pub chosen: Result<Chosen, NoRelation>,
    /// The site-years that take part in it: all of the points, or those with early × topdress trials; empty without one.
    pub taking_part: Vec<String>,
    /// One relation a kind, or why there is none.
    pub relations: Vec<(RelationKind, Result<Relation, NoRelation>)>,
    /// The chosen relation without each site-year in turn; `None` where there are too few.
    pub resampled: Option<Resampled>,
}

impl Calibration {
    /// The relation that the rates come from.
    ///
    /// # Errors
    /// [`NoRelation`] where the points do not determine it.
    pub fn relation(&self) -> Result<&Relation, NoRelation> {
        let kind = self.chosen.as_ref().map_err(Clone::clone)?.kind;
        let found = self.relations.iter().find(|(known, _)| *known == kind);
        found.map_or(Err(NoRelation::NoPoints), |(_, relation)| relation.as_ref().map_err(Clone::clone))
    }

    /// The site-years of the points, in order.
    #[must_use]
    pub fn site_years(&self) -> BTreeSet<&str> {
        site_years(&self.points)
    }

    /// The points of the site-years that take part in the relation of its rates.
    pub fn points_taking_part(&self) -> impl Iterator<Item = &NeedPoint> {
        self.points.iter().filter(|point| self.taking_part.contains(&point.site_year))
    }

    /// Holds out site-years, seasons and sites in turn, whichever are two or more.
    #[must_use]
    pub fn validations(
        &self,
        basis: &Basis,
        evidence: &Evidence,
        options: &CalibrationOptions,
    ) -> Vec<validation::Validation> {
        let materials = Materials::new(self.points.clone(), evidence, self.price_ratio);
        let scoring = options.scoring(basis, self.price_ratio);
        let by = validation::HoldOut::ALL.into_iter();
        by.filter_map(|by| validation::hold_out(&materials, &scoring, options.relation, by)).collect()
    }
}

impl CalibrationOptions {
    /// How rates are scored on the curves of a basis.
    #[must_use]
    pub fn scoring<'a>(&self, basis: &'a Basis, price_ratio: f64) -> Scoring<'a> {
        Scoring { basis, price_ratio, highest: self.highest, standard: self.standard }
    }
}

/// The calibration at a price ratio. `taken` is the kind that another price ratio of the same table has chosen.
#[must_use]
pub fn calibrate(
    basis: &Basis,
    evidence: &Evidence,
    options: &CalibrationOptions,
    price_ratio: f64,
    taken: Option<RelationKind>,
) -> Calibration {
    let (points, set_aside) = needs(basis, price_ratio, options.level);
    let materials = Materials::new(points, evidence, price_ratio);
    let scoring = options.scoring(basis, price_ratio);
    let chosen = choose(&materials, &scoring, taken.or(options.relation));
    let taking_part = chosen.as_ref().map_or_else(|_| Vec::new(), |chosen| materials.taking_part(chosen.kind));
    let relations = RelationKind::ALL.map(|kind| (kind, materials.relation(kind))).to_vec();
    let mut calibration = Calibration {
        price_ratio,
        points: materials.points.clone(),
        set_aside,
        chosen,
        taking_part,
        relations,
        resampled: None,
    };
    // Intervals rest on the site-years left out in turn: a resample more would tell the same, see DEVELOPERS.
    let resampled = calibration.relation().and_then(|relation| resample(&materials, relation, 0, 0));
    calibration.resampled = resampled.ok().flatten();
    calibration
}
