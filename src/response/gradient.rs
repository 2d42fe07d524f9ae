//! What a curve's parameters determine, with its derivatives by them.

use super::curve::Curve;
use super::exponential_rise;
use super::family::Family;
use super::method::Quantity;

/// The free parameters of a fitted curve, on rates divided by the highest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parameters {
    pub family: Family,
    /// The value at zero, or of an exponential at the lowest tested rate.
    base: f64,
    /// The factor of the first column: of √N for a square root, of an exponential the slope at the lowest tested rate.
    pub slope: f64,
    /// The factor of the second column, or the shape.
    pub second: f64,
    /// The lowest tested rate divided by the highest.
    pub lowest: f64,
    /// The highest tested rate.
    top: f64,
}

/// A quantity and its derivatives by the [`Parameters`].
#[derive(Clone, Copy, Debug)]
pub(super) struct Gradient {
    pub value: f64,
    pub base: f64,
    pub slope: f64,
    pub second: f64,
}

impl Gradient {
    fn times(self, unit: f64) -> Self {
        let Self { value, base, slope, second } = self;
        Self { value: value * unit, base: base * unit, slope: slope * unit, second: second * unit }
    }
}

impl Parameters {
    pub fn of(curve: &Curve) -> Self {
        let (c, top, family) = (&curve.coefficients, curve.highest_rate, curve.family);
        let lowest = curve.lowest_rate / top;
        let slope = c.slope.unwrap_or(0.0) * top;
        let curvature = c.curvature.unwrap_or(0.0) * top * top;
        let parameters = Self { family, base: c.intercept, slope, second: 0.0, lowest, top };
        match family {
            Family::Mean | Family::Linear => parameters,
            Family::Quadratic => Self { second: curvature, ..parameters },
            Family::SquareRoot => Self { slope: c.root.unwrap_or(0.0) * top.sqrt(), second: slope, ..parameters },
            Family::LinearPlateau => {
                let join = curve.implied_join().map_or(1.0, |join| join / top);
                Self { second: join.min(1.0), ..parameters }
            }
            Family::QuadraticPlateau => Self { second: -2.0 * curvature / slope, ..parameters },
            Family::ExponentialRise => Self {
                base: curve.value(curve.lowest_rate),
                slope: curve.slope_at(curve.lowest_rate) * top,
                second: c.rate_constant.unwrap_or(0.0) * top,
                ..parameters
            },
        }
    }

    /// A quantity as the family's formula gives it, wherever that lies; `None` where the family has no such quantity.
    pub fn gradient(self, quantity: Quantity) -> Option<Gradient> {
        let found = match quantity {
            Quantity::Intercept => self.intercept(),
            Quantity::Slope => self.slope()?.times(1.0 / self.top),
            Quantity::Curvature => self.curvature()?.times(1.0 / (self.top * self.top)),
            Quantity::Root => self.root()?.times(1.0 / self.top.sqrt()),
            Quantity::Rise => self.rise()?,
            Quantity::RateConstant => self.rate_constant()?.times(1.0 / self.top),
            Quantity::Plateau => self.plateau()?,
            Quantity::Join => self.join()?.times(self.top),
            Quantity::Optimum { slope_ratio } => self.optimum(slope_ratio * self.top)?.times(self.top),
        };
        let numbers = [found.value, found.slope, found.second];
        numbers.iter().all(|number| number.is_finite()).then_some(found)
    }

    fn intercept(self) -> Gradient {
        if self.family != Family::ExponentialRise {
            return Gradient { value: self.base, base: 1.0, slope: 0.0, second: 0.0 };
        }
        // f(L) − b·(e^(kL) − 1)/k.
        let Self { base, slope: b, second: k, lowest, .. } = self;
        let [back, by_k] = exponential_rise::back(lowest, k);
        Gradient { value: base - b * back, base: 1.0, slope: -back, second: -b * by_k }
    }

    fn slope(self) -> Option<Gradient> {
        let b = self.slope;
        match self.family {
            Family::Mean => None,
            Family::SquareRoot => Some(Gradient { value: self.second, base: 0.0, slope: 0.0, second: 1.0 }),
            // Only the line that is an exponential's limit has it: b·e^(kL) at k = 0.
            Family::ExponentialRise if self.second > 0.0 => None,
            Family::ExponentialRise => Some(Gradient { value: b, base: 0.0, slope: 1.0, second: b * self.lowest }),
            Family::Linear | Family::Quadratic | Family::LinearPlateau | Family::QuadraticPlateau => {
                Some(Gradient { value: b, base: 0.0, slope: 1.0, second: 0.0 })
            }
        }
    }

    fn curvature(self) -> Option<Gradient> {
        let Self { slope: b, second, .. } = self;
        match self.family {
            Family::Quadratic => Some(Gradient { value: second, base: 0.0, slope: 0.0, second: 1.0 }),
            // −b·u/2.
            Family::QuadraticPlateau => {
                Some(Gradient { value: -0.5 * b * second, base: 0.0, slope: -0.5 * second, second: -0.5 * b })
            }
            _ => None,
        }
    }

    fn root(self) -> Option<Gradient> {
        let root = Gradient { value: self.slope, base: 0.0, slope: 1.0, second: 0.0 };
        (self.family == Family::SquareRoot).then_some(root)
    }

    /// b·e^(kL)/k.
    fn rise(self) -> Option<Gradient> {
        let Self { slope: b, second: k, lowest, .. } = self;
        let (back, by_k) = ((k * lowest).exp() / k, (k * lowest).exp() / k * (lowest - 1.0 / k));
        let rise = Gradient { value: b * back, base: 0.0, slope: back, second: b * by_k };
        (self.family == Family::ExponentialRise).then_some(rise)
    }

    fn rate_constant(self) -> Option<Gradient> {
        let constant = Gradient { value: self.second, base: 0.0, slope: 0.0, second: 1.0 };
        (self.family == Family::ExponentialRise && self.second > 0.0).then_some(constant)
    }

    fn plateau(self) -> Option<Gradient> {
        let Self { base, slope: b, second, .. } = self;
        // How far the plateau lies above the base for a slope of one, and the derivative of that.
        let (height, by_shape) = match self.family {
            Family::LinearPlateau => (second, 1.0),
            Family::QuadraticPlateau => (0.5 / second, -0.5 / (second * second)),
            Family::ExponentialRise => (1.0 / second, -1.0 / (second * second)),
            Family::Mean | Family::Linear | Family::Quadratic | Family::SquareRoot => return None,
        };
        Some(Gradient { value: base + b * height, base: 1.0, slope: height, second: b * by_shape })
    }

    fn join(self) -> Option<Gradient> {
        let shape = self.second;
        match self.family {
            Family::LinearPlateau => Some(Gradient { value: shape, base: 0.0, slope: 0.0, second: 1.0 }),
            Family::QuadraticPlateau => {
                Some(Gradient { value: 1.0 / shape, base: 0.0, slope: 0.0, second: -1.0 / (shape * shape) })
            }
            _ => None,
        }
    }

    /// Where the slope equals `ratio`.
    fn optimum(self, ratio: f64) -> Option<Gradient> {
        let Self { slope: b, second, lowest, .. } = self;
        let at = |value: f64, slope: f64, second: f64| Some(Gradient { value, base: 0.0, slope, second });
        match self.family {
            Family::Mean | Family::Linear => None,
            // (r − b)/(2c).
            Family::Quadratic => {
                let value = 0.5 * (ratio - b) / second;
                at(value, -0.5 / second, -value / second)
            }
            // s² with s = b/(2(r − c)).
            Family::SquareRoot => {
                let s = 0.5 * b / (ratio - second);
                if s > 0.0 { at(s * s, s / (ratio - second), 2.0 * s * s / (ratio - second)) } else { None }
            }
            Family::LinearPlateau => {
                if b > ratio {
                    self.join()
                } else {
                    None
                }
            }
            // (1 − r/b)/u.
            Family::QuadraticPlateau => {
                let value = (1.0 - ratio / b) / second;
                at(value, ratio / (b * b * second), -value / second)
            }
            // L + ln(b/r)/k.
            Family::ExponentialRise => {
                let beyond = (b / ratio).ln() / second;
                at(lowest + beyond, 1.0 / (b * second), -beyond / second)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A central difference at this step is right to about nine digits.
    const STEP: f64 = 1e-5;
    const DIFFERENCE: f64 = 1e-7;

    #[test]
    fn derivatives_of_every_quantity_are_those_of_its_value() {
        let quantities = [
            Quantity::Intercept,
            Quantity::Slope,
            Quantity::Curvature,
            Quantity::Root,
            Quantity::Rise,
            Quantity::RateConstant,
            Quantity::Plateau,
            Quantity::Join,
            Quantity::Optimum { slope_ratio: 0.1 },
        ];
        let mut compared = 0;
        for family in Family::ALL {
            for lowest in [0.0, 1e-6, 0.2] {
                // Concave where the family is a polynomial in the rate or its root.
                let second = match family {
                    Family::Quadratic | Family::SquareRoot => -13.0,
                    _ => 0.7,
                };
                let at = Parameters { family, base: 41.0, slope: 55.0, second, lowest, top: 160.0 };
                for quantity in quantities {
                    let Some(gradient) = at.gradient(quantity) else { continue };
                    let value = |moved: Parameters| moved.gradient(quantity).unwrap().value;
                    let difference = |up: Parameters, down: Parameters| (value(up) - value(down)) / (2.0 * STEP);
                    let base = |step: f64| Parameters { base: at.base + step, ..at };
                    let slope = |step: f64| Parameters { slope: at.slope + step, ..at };
                    let second = |step: f64| Parameters { second: at.second + step, ..at };
                    let close = |ours: f64, expected: f64| {
                        assert_relative_eq!(ours, expected, max_relative = DIFFERENCE, epsilon = DIFFERENCE);
                    };
                    close(gradient.base, difference(base(STEP), base(-STEP)));
                    close(gradient.slope, difference(slope(STEP), slope(-STEP)));
                    close(gradient.second, difference(second(STEP), second(-STEP)));
                    compared += 1;
                }
            }
        }
        assert_eq!(compared, 3 * (1 + 2 + 4 + 4 + 5 + 6 + 5));
    }
}
