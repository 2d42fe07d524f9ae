"""Regression in clusters with responses within limits, by brute force: every integral by Gauss and Legendre's rule on 200
panels of 20 nodes, the maximum by Nelder-Mead.

Independent of stook: SciPy's normal distribution and minimize, another rule of integration. Run in this folder: python3 clustered.py > clustered.json
Model: y = b0 + b1 x + u + e + eps; u ~ N(0, t2) of a cluster, e ~ N(0, v) of a group, eps ~ N(0, s2). In a cluster of one group all its points
share e; in a cluster of several groups the e of a response within limits is its own.
"""
import json
import numpy as np
import scipy
from scipy.optimize import minimize
from scipy.stats import norm

INF = float("inf")
# Clusters of groups (v, points); a point is (x, y) or (x, low, high).
CLUSTERS = [
    [(40.0, [(0.7, 92.0), (0.8, 61.0), (0.95, 20.0)])],
    [(90.0, [(0.72, 70.0)]), (60.0, [(0.9, 31.0)]), (20.0, [(0.97, 9.0)])],
    [(80.0, [(0.68, 120.0, INF), (0.85, 80.0, INF)])],
    [(70.0, [(0.75, 66.0), (0.96, -INF, 0.0), (0.99, -INF, 0.0)])],
    [(50.0, [(0.8, 40.0, 75.0)]), (30.0, [(0.88, 44.0), (0.93, 25.0)])],
    [(25.0, [(0.74, 85.0), (0.83, 70.0)]), (35.0, [(0.91, 48.0), (0.98, -INF, 12.0)])],
]


NODES, WEIGHTS = np.polynomial.legendre.leggauss(20)


def log_normal(r, cov):
    sign, log_det = np.linalg.slogdet(cov)
    return -0.5 * (len(cov) * np.log(2 * np.pi) + log_det + np.einsum("ui,ij,uj->u", r, np.linalg.inv(cov), r))


def cluster_log_likelihood(groups, b, t2, s2):
    shared = groups[0][0] if len(groups) == 1 else 0.0
    variance = t2 + shared
    reach = 10 * np.sqrt(variance)
    edges = np.linspace(-reach, reach, 201)
    half = 0.5 * (edges[1] - edges[0])
    u = (0.5 * (edges[:-1] + edges[1:])[:, None] + half * NODES).ravel()
    log = norm.logpdf(u, 0, np.sqrt(variance))
    for v, points in groups:
        v = v - shared
        exact = [(p[0], p[1]) for p in points if len(p) == 2]
        if exact:
            x, y = np.array(exact).T
            log = log + log_normal(y - b[0] - b[1] * x - u[:, None], s2 * np.eye(len(y)) + v)
        for p in points:
            if len(p) == 3:
                mean, sd = b[0] + b[1] * p[0] + u, np.sqrt(s2 + v)
                low, high = (p[1] - mean) / sd, (p[2] - mean) / sd
                # On the side where the tails are small.
                flip = low + high > 0
                low, high = np.where(flip, -high, low), np.where(flip, -low, high)
                log = log + np.log(norm.cdf(high) - norm.cdf(low))
    top = log.max()
    return top + np.log(np.sum(np.exp(log - top) * np.tile(half * WEIGHTS, 200)))


def minus(parameters):
    b, t2, s2 = parameters[:2] * np.array([100.0, 100.0]), np.exp(parameters[2]), np.exp(parameters[3])
    return -sum(cluster_log_likelihood(groups, b, t2, s2) for groups in CLUSTERS)


start = np.array([3.5, -3.5, np.log(100.0), np.log(60.0)])
found = minimize(minus, start, method="Nelder-Mead", options=dict(xatol=1e-7, fatol=1e-10, maxiter=3000))
b0, b1 = found.x[:2] * 100
print(json.dumps({
    "made_with": f"SciPy {scipy.__version__}",
    "at": {"b": [350.0, -350.0], "t2": 100.0, "s2": 60.0, "log_likelihood": -minus(start)},
    "maximum": {"b": [b0, b1], "between": float(np.exp(found.x[2] / 2)), "within": float(np.exp(found.x[3] / 2)),
                "log_likelihood": -found.fun},
}, indent=1))
