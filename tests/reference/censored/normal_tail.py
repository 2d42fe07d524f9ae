"""Reference for the tails of the normal distribution, in 120-digit arithmetic (mpmath), independent of stook.

Run in this folder:  python3 normal_tail.py > normal_tail.json
"""
import json
from mpmath import mp, mpf, erfc, sqrt, log, exp, pi

mp.dps = 120
rows = []
for u in (-1e6, -1000, -100, -50, -31, -30.5, -29.5, -20, -10, -5, -2, -1, -0.25, 0, 0.25, 1, 2, 5, 8, 20):
    x = mpf(u)
    cdf = erfc(-x / sqrt(2)) / 2
    slope = exp(-x * x / 2) / sqrt(2 * pi) / cdf if cdf != 0 else None
    rows.append([float(u), float(log(cdf)), float(slope), float(slope * (x + slope))])
print(json.dumps({"source": f"mpmath {__import__('mpmath').__version__}, 120 digits",
                  "columns": ["u", "ln cdf", "pdf / cdf", "minus the second derivative of ln cdf"],
                  "rows": rows}, indent=1))
