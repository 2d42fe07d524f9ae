//! True curves of which everything is known.

use stook::response::Family;

/// Price of a pound of N over the price of a bushel: the slope at the true optimum.
pub const PRICE_RATIO: f64 = 0.1;
/// Highest tested rate, lb/ac.
pub const TOP: f64 = 160.0;
/// Yield of the plateau families and the quadratic without N, bu/ac, and what N adds at the most.
const WITHOUT_N: f64 = 45.0;
const RISE: f64 = 30.0;
/// Of the exponential, so that an optimum near the top rate is possible: its optimum is nowhere above rise/(e · price ratio).
const EXPONENTIAL_WITHOUT_N: f64 = 30.0;
const EXPONENTIAL_RISE: f64 = 45.0;
/// Of the curve outside the families: a slow start, then a rise, then a slow loss from too much N.
const OUTSIDE_WITHOUT_N: f64 = 30.0;
const OUTSIDE_RISE: f64 = 48.0;
const OUTSIDE_POWER: f64 = 1.6;
const OUTSIDE_LOSS: f64 = 3.0;

/// What the true curve is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Truth {
    QuadraticPlateau,
    LinearPlateau,
    Exponential,
    Quadratic,
    /// a + b·(1 − exp(−(N/s)^1.6)) − c·(N/160)⁴: in no family.
    Outside,
}

impl Truth {
    pub const ALL: [Self; 5] =
        [Self::QuadraticPlateau, Self::LinearPlateau, Self::Exponential, Self::Quadratic, Self::Outside];

    /// The family that holds it.
    pub fn family(self) -> Option<Family> {
        match self {
            Self::QuadraticPlateau => Some(Family::QuadraticPlateau),
            Self::LinearPlateau => Some(Family::LinearPlateau),
            Self::Exponential => Some(Family::ExponentialRise),
            Self::Quadratic => Some(Family::Quadratic),
            Self::Outside => None,
        }
    }

    pub fn name(self) -> &'static str {
        self.family().map_or("outside", Family::name)
    }

    pub fn has_join(self) -> bool {
        self.family().is_some_and(Family::has_join)
    }
}

/// A true curve.
#[derive(Clone, Copy, Debug)]
pub struct TrueCurve {
    truth: Truth,
    /// Join, peak, rate constant or the scale s.
    shape: f64,
    /// The rate with the best net return.
    pub optimum: f64,
}

impl TrueCurve {
    /// The curve whose join (plateau families) or economic optimum (the others) is at `place`.
    pub fn at(truth: Truth, place: f64) -> Self {
        // Where a parabola from the same start has lost as much slope as the price ratio asks for.
        let before_peak = |peak: f64| peak * (1.0 - PRICE_RATIO * peak / (2.0 * RISE));
        let slope_at = |shape: f64| Self { truth, shape, optimum: place }.slope(place) - PRICE_RATIO;
        let (shape, optimum) = match truth {
            Truth::LinearPlateau => (place, place),
            Truth::QuadraticPlateau => (place, before_peak(place)),
            Truth::Quadratic => (bisect(|peak| before_peak(peak) - place, place, RISE / PRICE_RATIO), place),
            // The larger of the two rate constants: the smaller is nearly a line.
            Truth::Exponential => (bisect(|k| -slope_at(k), 1.0 / place, 1.0), place),
            Truth::Outside => (bisect(slope_at, 10.0, 150.0), place),
        };
        Self { truth, shape, optimum }
    }

    pub fn join(&self) -> Option<f64> {
        self.truth.has_join().then_some(self.shape)
    }

    pub fn value(&self, rate: f64) -> f64 {
        let short = 1.0 - rate / self.shape;
        match self.truth {
            Truth::LinearPlateau => WITHOUT_N + RISE * (1.0 - short.max(0.0)),
            Truth::QuadraticPlateau => WITHOUT_N + RISE * (1.0 - short.max(0.0).powi(2)),
            Truth::Quadratic => WITHOUT_N + RISE * (1.0 - short.powi(2)),
            Truth::Exponential => EXPONENTIAL_WITHOUT_N - EXPONENTIAL_RISE * (-self.shape * rate).exp_m1(),
            Truth::Outside => {
                let risen = -(-(rate / self.shape).powf(OUTSIDE_POWER)).exp_m1();
                OUTSIDE_WITHOUT_N + OUTSIDE_RISE * risen - OUTSIDE_LOSS * (rate / TOP).powi(4)
            }
        }
    }

    fn slope(&self, rate: f64) -> f64 {
        let step = 1e-4;
        (self.value(rate + step) - self.value(rate - step)) / (2.0 * step)
    }

    /// The highest true yield among the tested rates' range, to which the CV refers.
    pub fn highest_yield(&self) -> f64 {
        (0..=160).map(|rate| self.value(f64::from(rate))).fold(0.0, f64::max)
    }
}

/// Where a rising function is zero.
fn bisect(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    assert!(f(low) < 0.0 && f(high) > 0.0, "{} {}", f(low), f(high));
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[test]
fn no_rate_has_a_better_net_return_than_the_true_optimum() {
    for truth in Truth::ALL {
        for place in [80.0, 100.0, 120.0, 140.0, 148.0] {
            let curve = TrueCurve::at(truth, place);
            let net = |rate: f64| curve.value(rate) - PRICE_RATIO * rate;
            let best = net(curve.optimum);
            assert!((0..=1600).all(|tenth| net(f64::from(tenth) / 10.0) <= best + 1e-9), "{truth:?} {place}");
            assert_eq!(curve.join().is_some(), truth.has_join());
        }
    }
}
