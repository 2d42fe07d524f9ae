"""2 000 residual-bootstrap refits of a quadratic-plateau by scipy.optimize.least_squares, beside `cargo bench --bench response`.

Run from the top of the repository: python3 benches/refits.py
"""

import csv
import time

import numpy as np
import scipy
from scipy.optimize import least_squares

with open("tests/reference/data/oracle/s1_qp.csv") as file:
    rows = list(csv.DictReader(file))
x = np.array([float(row["rate"]) for row in rows])
y = np.array([float(row["yield"]) for row in rows])
start = np.array([44.82544, 0.5102424, -0.002462786])


def curve(p):
    m = np.minimum(x, -p[1] / (2 * p[2]))
    return p[0] + p[1] * m + p[2] * m * m


def jacobian(p):
    m = np.minimum(x, -p[1] / (2 * p[2]))
    return np.column_stack([np.ones_like(x), m, m * m])


fitted = curve(start)
residuals = y - fitted
drawn = np.random.default_rng(7).integers(0, len(x), (2000, len(x)))


def refit(name, **how):
    joins, failed, began = [], 0, time.process_time()
    for indices in drawn:
        again = fitted + residuals[indices]
        found = least_squares(lambda p: curve(p) - again, start, x_scale=np.abs(start), **how)
        failed += found.status <= 0
        joins.append(-found.x[1] / (2 * found.x[2]))
    taken = 1e6 * (time.process_time() - began) / 2000
    print(f"{name}: {taken:.0f} us of CPU a refit, {failed} of 2000 failed, join {np.quantile(joins, [0.025, 0.5, 0.975]).round(2)}")


print("SciPy", scipy.__version__)
refit("trust region, numeric derivatives")
refit("Levenberg-Marquardt, numeric derivatives", method="lm")
refit("Levenberg-Marquardt, exact derivatives", method="lm", jac=jacobian)
