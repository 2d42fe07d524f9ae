//! The fit and what it holds.

use super::curvature::Curvature;
use super::dense::{Matrix, eigen, generalised_inverse};
use super::design::Design;
use super::kenward_roger::Corrected;
use super::point::Point;
use super::search::{Local, least, zeros};
use super::{Likelihood, MixedData, MixedModelError};
use std::sync::OnceLock;

/// Eigenvalues of the information on the variances, scaled to what it would be without fixed columns, that mean no information.
const NO_INFORMATION: f64 = 1e-9;
/// A residual variance below this share of what the fixed columns leave, with something still to gain, is on its way to zero.
const NEXT_TO_NO_ERROR: f64 = 1e-8;
/// Eigenvalues of the scaled second derivatives under which the likelihood says nothing of a direction.
const FLAT: f64 = 1e-9;

/// The covariance matrix of a random term's coefficients.
#[derive(Clone, Debug, PartialEq)]
pub struct TermCovariance {
    /// The term.
    pub name: String,
    /// Variances on the diagonal, in squared units of the response ÷ the column's; zero elsewhere where the coefficients are uncorrelated.
    pub covariance: Vec<Vec<f64>>,
    /// The number of its levels.
    pub levels: usize,
}

/// The residual variance of a group.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResidualVariance {
    /// The label of the group, as given; 0 where all observations are one.
    pub group: usize,
    /// The variance, in squared units of the response.
    pub variance: f64,
}

/// A fitted mixed model.
#[derive(Clone, Debug)]
pub struct MixedModel {
    /// One a fixed column, in order; `None` for a column that earlier ones span (it then counts as zero).
    pub coefficients: Vec<Option<f64>>,
    /// The columns that are left out because earlier ones span them.
    pub left_out: Vec<usize>,
    /// Each random term's covariance matrix, in order.
    pub components: Vec<TermCovariance>,
    /// The residual variances, by ascending group.
    pub residual: Vec<ResidualVariance>,
    /// Whether a covariance matrix is singular: a variance is zero, or coefficients follow from each other.
    pub is_singular: bool,
    /// Whether the search ended where nothing is left to gain but rounding.
    pub converged: bool,
    /// Which likelihood was maximised.
    pub likelihood: Likelihood,
    /// Its logarithm. The restricted one is of the columns as given: it changes with their units, as in R's lme4.
    pub log_likelihood: f64,
    /// Estimated parameters: fixed coefficients and variances (covariances included).
    pub parameters: usize,
    /// Observations.
    pub observations: usize,
    pub(super) data: MixedData,
    pub(super) design: Design,
    pub(super) psi: Vec<f64>,
    /// What least squares leaves: coefficients of the orthonormal columns, in the design's unit.
    pub(super) generalised: Vec<f64>,
    pub(super) curvature: Curvature,
    /// ∂φ/∂ψ.
    pub(super) jacobian: Matrix,
    /// The covariance matrix of the estimated factors ψ.
    pub(super) factor_covariance: Matrix,
    pub(super) corrected: OnceLock<Option<Corrected>>,
}

/// Fits a linear mixed model.
///
/// # Errors
/// See [`MixedModelError`]. A variance that comes out as zero is no error.
///
/// # Example
/// ```
/// use stook::stats::mixed_model::{DegreesOfFreedom, Likelihood, MixedData, RandomTerm, fit};
/// // Three blocks, two treatments.
/// let data = MixedData {
///     y: vec![52.0, 61.0, 55.0, 67.0, 49.0, 60.0],
///     fixed: vec![vec![1.0; 6], vec![0.0, 1.0, 0.0, 1.0, 0.0, 1.0]],
///     random: vec![RandomTerm::intercept("block", vec![1, 1, 2, 2, 3, 3])],
///     residual_group: None,
/// };
/// let model = fit(&data, Likelihood::Reml)?;
/// let difference = model.contrast(&[0.0, 1.0], DegreesOfFreedom::Satterthwaite).expect("estimable");
/// assert!((difference.estimate - 32.0 / 3.0).abs() < 1e-9);
/// assert!((difference.df - 2.0).abs() < 1e-6);
/// # Ok::<(), stook::stats::mixed_model::MixedModelError>(())
/// ```
pub fn fit(data: &MixedData, likelihood: Likelihood) -> Result<MixedModel, MixedModelError> {
    let design = Design::new(data, None)?;
    identified(&design)?;
    let found = least(&design, likelihood).ok_or(MixedModelError::NotEvaluated)?;
    let variances = design.layout.residual_variances(&found.psi);
    let mut groups = design.layout.groups.iter().zip(&variances);
    let vanishes = |variance: f64| !found.converged && variance < NEXT_TO_NO_ERROR;
    if let Some((group, _)) = groups.find(|(_, variance)| vanishes(**variance)) {
        return Err(MixedModelError::FittedWithoutError { group: *group });
    }
    let point = Point::new(&design, &found.psi).ok_or(MixedModelError::NotEvaluated)?;
    let local = Local::new(&point, &found.psi, likelihood);
    let generalised = point.coefficients.clone();
    let mut factor_covariance = generalised_inverse(&local.bend, FLAT).ok_or(MixedModelError::NotEvaluated)?;
    factor_covariance.values.iter_mut().for_each(|x| *x *= 2.0);

    let square = design.unit * design.unit;
    let total: Vec<f64> = design.least_squares.iter().zip(&generalised).map(|(a, b)| a + b * design.unit).collect();
    let components = design.layout.terms.iter().zip(design.layout.covariances(&found.psi)).map(|(term, own)| {
        let given = term.back.times(&own).times(&term.back.transposed());
        let row = |i: usize| given.row(i).iter().map(|x| x * square).collect();
        TermCovariance {
            name: term.name.clone(),
            covariance: (0..term.size).map(row).collect(),
            levels: term.levels.len(),
        }
    });
    let components = components.collect();
    let residual = design.layout.groups.iter().zip(&variances);
    let residual = residual.map(|(group, v)| ResidualVariance { group: *group, variance: v * square }).collect();
    let is_singular = zeros(&design, &found.psi).next().is_some();
    let coefficients = design.basis.coefficients(&total);
    Ok(MixedModel {
        left_out: (0..coefficients.len()).filter(|c| coefficients[*c].is_none()).collect(),
        coefficients,
        components,
        residual,
        is_singular,
        converged: found.converged,
        likelihood,
        log_likelihood: -0.5 * in_given_units(&design, likelihood, found.criterion),
        parameters: design.rank() + design.layout.parameters(),
        observations: design.observations,
        data: data.clone(),
        psi: found.psi,
        generalised,
        curvature: Curvature::new(&point),
        jacobian: local.jacobian,
        factor_covariance,
        corrected: OnceLock::new(),
        design,
    })
}

/// A criterion in the design's units, in those of the data.
pub(super) fn in_given_units(design: &Design, likelihood: Likelihood, criterion: f64) -> f64 {
    let scaled = criterion + 2.0 * Point::contrasts(design, likelihood) * design.unit.ln();
    match likelihood {
        Likelihood::Ml => scaled,
        Likelihood::Reml => scaled + design.basis.log_determinant(),
    }
}

/// Whether the data tell the variances apart: whether their expected information is regular where every random variance is zero (Rao
/// 1971, J. Multivar. Anal. 1:445-456: where unbiased quadratic estimates of all of them exist).
fn identified(design: &Design) -> Result<(), MixedModelError> {
    let layout = &design.layout;
    let point = Point::new(design, &vec![0.0; layout.parameters()]).ok_or(MixedModelError::NotEvaluated)?;
    let curvature = Curvature::of_derivatives(&point);
    let mut information = curvature.expected(Likelihood::Reml);
    let whole = curvature.expected(Likelihood::Ml);
    let count = information.columns;
    for i in 0..count {
        for j in 0..count {
            information.values[i * count + j] /= (whole.at(i, i) * whole.at(j, j)).sqrt();
        }
    }
    let (values, vectors) = eigen(&information).ok_or(MixedModelError::NotEvaluated)?;
    let mut terms: Vec<String> = Vec::new();
    for (i, _) in values.iter().enumerate().filter(|(_, value)| **value < NO_INFORMATION) {
        for (parameter, share) in vectors.row(i).iter().enumerate() {
            let name = layout.name(parameter);
            if share.abs() > 1e-3 && !terms.contains(&name) {
                terms.push(name);
            }
        }
    }
    if terms.is_empty() { Ok(()) } else { Err(MixedModelError::NotIdentified { terms }) }
}

impl MixedModel {
    /// −2 log-likelihood.
    pub fn criterion(&self) -> f64 {
        -2.0 * self.log_likelihood
    }

    /// Akaike's criterion, −2 log-likelihood + 2 × [`parameters`](Self::parameters), for either likelihood.
    pub fn aic(&self) -> f64 {
        self.criterion() + 2.0 * self.parameters as f64
    }

    /// Schwarz's criterion, −2 log-likelihood + ln(observations) × [`parameters`](Self::parameters), for either likelihood.
    pub fn bic(&self) -> f64 {
        self.criterion() + (self.observations as f64).ln() * self.parameters as f64
    }

    /// The hypotheses that these columns add nothing to the columns before them: rows for [`f_test`](Self::f_test), one a column that
    /// earlier ones do not span, each with a 1 at that column. They are the sequential ones of least squares (type I), as R's lmerTest
    /// takes them.
    pub fn sequential(&self, columns: std::ops::Range<usize>) -> Vec<Vec<f64>> {
        let basis = &self.design.basis;
        let of_range = basis.kept.iter().enumerate().filter(|(_, column)| columns.contains(column));
        let row = |(i, column): (usize, &usize)| {
            let own = basis.coordinates[*column][i];
            basis.coordinates.iter().map(|coordinates| coordinates[i] / own).collect()
        };
        of_range.map(row).collect()
    }

    /// The covariance matrix of the coefficients; a column that is left out has zeros.
    pub fn covariance(&self) -> Vec<Vec<f64>> {
        let count = self.coefficients.len();
        let unit = |c: usize| {
            let mut unit = vec![0.0; count];
            unit[c] = 1.0;
            self.design.basis.forward(&unit)
        };
        let rows: Vec<Vec<f64>> = (0..count).map(unit).collect();
        let square = self.design.unit * self.design.unit;
        let one = |i: usize, j: usize| match self.coefficients[i].and(self.coefficients[j]) {
            Some(_) => square * self.curvature.covariance.form(&rows[i], &rows[j]),
            None => 0.0,
        };
        (0..count).map(|i| (0..count).map(|j| one(i, j)).collect()).collect()
    }
}
