//! NIST Statistical Reference Datasets (public domain), linear regression: certified coefficients, standard errors and residual sums
//! of squares, here as the exact rational solution of the same data.
//!
//! A polynomial is fitted as it would be anywhere in this project: centred and scaled first, by numbers that floating point divides
//! without rounding, then by QR with column pivoting; its coefficients are expanded back to powers of x for the comparison.

use crate::data::{Table, shared};
use stook::stats::least_squares::{Solution, dot, solve};

/// Digits that agree: −log₁₀ of the relative error, at most the 16 of a double.
fn digits(ours: f64, certified: f64) -> f64 {
    let error = (ours - certified).abs() / if certified == 0.0 { 1.0 } else { certified.abs() };
    if error == 0.0 { 16.0 } else { -error.log10() }
}

struct Certified {
    coefficients: Vec<f64>,
    standard_errors: Vec<f64>,
    rss: f64,
}

fn certified(name: &str) -> Option<Certified> {
    let all = Table::read(&shared("nist/linear/certified_exact.csv")?).only("dataset", name);
    let parameters = all.text("quantity").iter().filter(|quantity| quantity.starts_with('B')).count();
    let errors = all.text("std_error").iter().take(parameters).map(|error| error.parse().unwrap()).collect();
    let values = all.numbers("value");
    let place = all.text("quantity").iter().position(|quantity| quantity == "SSE").unwrap();
    Some(Certified { coefficients: values[..parameters].to_vec(), standard_errors: errors, rss: values[place] })
}

/// A polynomial in x from one in u = (x − centre)/2^power, and its contrasts.
struct Polynomial {
    solution: Solution,
    centre: f64,
    scale: f64,
}

impl Polynomial {
    fn fit(x: &[f64], y: &[f64], degree: i32) -> Self {
        let low = x.iter().copied().fold(f64::INFINITY, f64::min);
        let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // A whole number and a power of two: neither subtraction nor division rounds.
        let centre = (0.5 * (low + high)).round();
        let scale = 2.0_f64.powf((0.5 * (high - low)).log2().ceil());
        let u: Vec<f64> = x.iter().map(|x| (x - centre) / scale).collect();
        let columns: Vec<Vec<f64>> = (0..=degree).map(|power| u.iter().map(|u| u.powi(power)).collect()).collect();
        Self { solution: solve(&columns, y).unwrap(), centre, scale }
    }

    /// The coefficient of x^k as a contrast of the fitted ones: Σ_j C(j, k)·(−centre)^(j−k)/scale^j.
    fn contrast(&self, k: i32) -> Vec<f64> {
        let degree = i32::try_from(self.solution.coefficients.len()).unwrap() - 1;
        let choose = |j: i32| (0..k).fold(1.0, |product, i| product * f64::from(j - i) / f64::from(i + 1));
        let weight = |j: i32| choose(j) * (-self.centre).powi(j - k) / self.scale.powi(j);
        (0..=degree).map(|j| if j < k { 0.0 } else { weight(j) }).collect()
    }

    fn coefficient(&self, k: i32) -> f64 {
        let fitted: Vec<f64> = self.solution.coefficients.iter().map(|c| c.unwrap()).collect();
        dot(&self.contrast(k), &fitted)
    }

    fn standard_error(&self, k: i32) -> f64 {
        self.solution.standard_error(&self.contrast(k)).unwrap()
    }
}

/// Data set, degree, digits of coefficients, of standard errors and of the residual sum of squares.
///
/// Rounding of the yields alone moves the coefficients of Wampler5, all of them 1, in the ninth digit: its standard errors reach 2·10⁷.
const POLYNOMIALS: [(&str, i32, f64, f64, f64); 8] = [
    ("norris", 1, 9.0, 9.0, 9.0),
    ("pontius", 2, 9.0, 9.0, 9.0),
    ("wampler1", 5, 9.0, 9.0, 9.0),
    ("wampler2", 5, 9.0, 9.0, 9.0),
    ("wampler3", 5, 9.0, 9.0, 9.0),
    ("wampler4", 5, 9.0, 9.0, 9.0),
    ("wampler5", 5, 8.0, 9.0, 9.0),
    ("filip", 10, 9.0, 9.0, 9.0),
];

#[test]
fn polynomials_of_the_linear_reference_sets_have_their_certified_coefficients() {
    for (name, degree, of_coefficients, of_errors, of_rss) in POLYNOMIALS {
        let (Some(expected), Some(path)) = (certified(name), shared(&format!("nist/linear/{name}_yx.csv"))) else {
            return;
        };
        let table = Table::read(&path);
        let fitted = Polynomial::fit(&table.numbers("x"), &table.numbers("y"), degree);
        let least = |ours: &dyn Fn(i32) -> f64, certified: &[f64]| {
            let all = certified.iter().zip(0..).map(|(certified, k)| digits(ours(k), *certified));
            all.fold(f64::INFINITY, f64::min)
        };
        let coefficients = least(&|k| fitted.coefficient(k), &expected.coefficients);
        let errors = least(&|k| fitted.standard_error(k), &expected.standard_errors);
        let rss = digits(fitted.solution.rss, expected.rss);
        println!(
            "{name}: {coefficients:.1} digits of coefficients, {errors:.1} of standard errors, {rss:.1} of the RSS"
        );
        assert!(coefficients >= of_coefficients, "{name} coefficients: {coefficients} digits");
        assert!(errors >= of_errors, "{name} standard errors: {errors} digits");
        assert!(rss >= of_rss, "{name} RSS: {rss} digits");
    }
}
