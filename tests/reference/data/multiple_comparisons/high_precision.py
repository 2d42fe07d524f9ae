"""P(Q > q) of the studentized range and P(max |T| > t) of many means against one, with python-flint at 110 bits.

Gauss-Legendre panels over z and over y = ln s, with 16 and with 20 points a panel; the relative difference of the two is printed beside
each value. Range: k int phi(z) Phi(z)^(k-1) (1 - (1 - Phi(z-w)/Phi(z))^(k-1)) dz. Against one: 2 int_0 phi(z) (1 - prod (1 - p_i)) dz,
p_i = Phi((l z - w)/c) + Phi((-l z - w)/c), c = sqrt(1 - l^2). Either over the density of s = sqrt(chi2/df).
Run: python3 high_precision.py range; python3 high_precision.py many
"""
import sys
from flint import arb, ctx

ctx.prec = 110
ROOT2, ROOT2PI = arb(2).sqrt(), (2 * arb.pi()).sqrt()
NODES = {n: [arb.legendre_p_root(n, i, weight=True) for i in range(n)] for n in (16, 20)}
Phi = lambda z: (-z / ROOT2).erfc() / 2
phi = lambda z: (-z * z / 2).exp() / ROOT2PI
point = lambda x: x.mid()


def quad(f, edges, n):
    total = arb(0)
    for a, b in zip(edges[:-1], edges[1:]):
        half, middle = (b - a) / 2, (a + b) / 2
        total += half * sum((w * f(point(middle + half * x)) for x, w in NODES[n]), arb(0))
    return total


def edges(a, b, widest):
    n = int(float((b - a) / widest)) + 1
    return [point(a + (b - a) * i / n) for i in range(n + 1)]


def known_range(w, k, n):
    def f(z):
        below = Phi(z)
        density = k * phi(z) * below ** (k - 1)
        out = Phi(z - w) / below
        return density * -((k - 1) * (-out).log1p()).expm1() if out < 1 else density

    middle = w / 2
    low = max(-9.0 if k < 5 else -6.0 if k < 30 else -4.0, float(middle) - 11)
    return quad(f, edges(arb(low), arb(max(float(middle) + 11, 11.0)), arb(1)), n)


def known_many(w, lambdas, n):
    def f(z):
        inside = arb(0)
        for l, count in lambdas:
            c = (1 - l * l).sqrt()
            out = Phi((l * z - w) / c) + Phi((-l * z - w) / c)
            if not out < 1:
                return phi(z)
            inside += count * (-out).log1p()
        return phi(z) * -inside.expm1()

    return 2 * quad(f, edges(arb(0), max(float(l) for l, _ in lambdas) * w + 11, arb("0.6")), n)


def estimated(q, df, known, n, typical):
    if df == "inf":
        return known(q, n)
    v = arb(df)
    constant = arb(2).log() + v / 2 * (v / 2).log() - (v / 2).lgamma()
    f = lambda y: (constant + v * y - v * (2 * y).exp() / 2).exp() * known(point(q * y.exp()), n)
    # The mode over ln s; left of it the integrand falls as s^df, right of it as exp(-s^2).
    nu = float(v)
    centre = point(arb(max((nu / (nu + float(q) ** 2 / 2)) ** 0.5, min(1, typical / float(q)))).log())
    sd = (2 * nu) ** -0.5
    left, right = max(12 * sd, 46 / nu + 0.5), min(12 * sd, 3.3)
    near = min(left, max(8 * sd, 3.0)) if sd > 0.05 else 12 * sd
    places = edges(centre - near, centre + right, arb(min(0.4, 2 * sd)))
    if left > near and sd > 0.05:
        places = edges(centre - left, centre - near, arb(3))[:-1] + places
    return quad(f, places, n)


def show(name, f):
    coarse, fine = f(16), f(20)
    print(f"{name}, {fine.mid().str(17, radius=False)}, {float(abs(coarse.mid() / fine.mid() - 1)):.0e}", flush=True)


RANGE = [(3, "inf", "13"), (100, "inf", "12"), (100, "inf", "3"), (5, "inf", "0.5"), (7, "18", "22"), (100, "30", "3"),
         (60, "200", "9"), (20, "60", "15"), (50, "7.3", "40"), (10, "1e6", "11"), (100, "1e6", "8"), (5, "2.5", "1000"),
         (3, "0.5", "50"), (3, "0.5", "1e6"), (100, "1", "400"), (100, "0.5", "10"), (20, "1", "1"), (4, "12.6", "0.2")]
HALF = arb("0.5").sqrt()
MANY = [(3, "10", "2.5"), (3, "10", "25"), (6, "18", "2.71"), (6, "18", "12"), (5, "inf", "2.5"), (5, "inf", "8"), (20, "1", "100"),
        (12, "1e6", "3"), (2, "40", "0.1")]
UNEQUAL = [("7.5", "3"), ("7.5", "60"), ("inf", "7")]

if sys.argv[1] == "range":
    for k, df, q in RANGE:
        typical = 2 * (2 * float(arb(k).log())) ** 0.5
        show(f"{k}, {df}, {q}", lambda n: estimated(arb(q), df, lambda w, n: known_range(w, k, n), n, typical))
else:
    cases = [(f"{k} of 0.5", [(HALF, k)], df, t) for k, df, t in MANY]
    cases += [("0.3 0.6 0.9", [(arb(l), 1) for l in ("0.3", "0.6", "0.9")], df, t) for df, t in UNEQUAL]
    for name, lambdas, df, t in cases:
        show(f"{name}, {df}, {t}", lambda n: estimated(arb(t), df, lambda w, n: known_many(w, lambdas, n), n, 2.5))
