# Reference for stats::random_effects: the normal random-effects model by direct maximisation of its likelihoods.
# Independent of stook: base R only, pnorm and dnorm for the pieces, uniroot on derivatives written down here, after a fine grid of
# 20 000 variances has shown where the maxima lie. Intervals: Knapp-Hartung with a scale of at least 1, Q-profile, profile
# likelihood with the cutoff m ln(1 + t^2/(m - 1)) for the mean and chi-square for tau, t with m - 2 df for a new unit. m counts an exact
# unit as 1 and a bounded one as its curvature in the mean over that of an exact one; an interval takes m of 2, a prediction of 3.
# The data of `bcg` are those of 13 trials of BCG vaccine (Colditz et al. 1994), from memory; tau^2 0.3132, mean -0.7145, Q 152.2330 and
# the Q-profile interval 0.1197 to 1.1115 of tau^2 are published for their log relative risks (from memory too).
# Run in this folder:  Rscript random_effects.R > random_effects.json
level <- 0.95
number <- function(x) ifelse(is.finite(x), sprintf("%.17g", x), "null")
numbers <- function(x) paste0("[", paste(number(x), collapse = ", "), "]")
root <- function(f, a, b) uniroot(f, c(a, b), tol = 1e-300, maxiter = 10000)$root

piece <- function(lo, hi, v, mu, t2) {
  s <- sqrt(v + t2)
  if (lo == hi) {
    z <- (lo - mu) / s
    return(c(dnorm(z, log = TRUE) - log(s), z / s, (z^2 - 1) / (2 * s^2), 1))
  }
  a <- (lo - mu) / s; b <- (hi - mu) / s
  # The tail on the side of the limits, in logarithms, so that nothing cancels or vanishes.
  right <- a + b > 0
  near <- pnorm(if (right) a else b, lower.tail = !right, log.p = TRUE)
  far <- pnorm(if (right) b else a, lower.tail = !right, log.p = TRUE)
  lp <- near + log1p(-exp(far - near))
  over <- function(z) if (is.finite(z)) exp(dnorm(z, log = TRUE) - lp) else 0
  term <- function(z) if (is.finite(z)) z * over(z) else 0
  c(lp, (over(a) - over(b)) / s, (term(a) - term(b)) / (2 * s^2), (over(a) - over(b))^2 - (term(a) - term(b)))
}
all_pieces <- function(d, mu, t2) rowSums(sapply(seq_along(d$v), function(i) piece(d$lo[i], d$hi[i], d$v[i], mu, t2)))
best_mean <- function(d, t2) {
  e <- d$lo == d$hi
  if (all(e)) return(sum(d$lo / (d$v + t2)) / sum(1 / (d$v + t2)))
  f <- function(m) all_pieces(d, m, t2)[2]
  start <- mean(d$lo[e]); step <- sqrt(max(d$v) + t2)
  lo <- hi <- start
  while (f(lo) < 0) { lo <- lo - step; step <- 1.5 * step }
  while (f(hi) > 0) { hi <- hi + step; step <- 1.5 * step }
  if (lo == hi) lo else root(f, lo, hi)
}
# The largest of a function of tau^2 from its slope: a grid, then roots.
largest <- function(value, slope, top, n) {
  grid <- c(0, exp(seq(log(top * 1e-9), log(top), length.out = n)))
  s <- sapply(grid, slope)
  at <- if (s[1] <= 0) 0 else numeric(0)
  for (i in which(s[-length(s)] > 0 & s[-1] <= 0)) at <- c(at, root(slope, grid[i], grid[i + 1]))
  v <- sapply(at, value)
  c(at[which.max(v)], max(v))
}
cases <- list()
case <- function(name, lo, hi, v) {
  d <- list(lo = lo, hi = hi, v = v)
  e <- lo == hi; m <- sum(e); k <- length(v)
  ends <- c(lo, hi); ends <- ends[is.finite(ends)]
  top <- 1000 * (diff(range(ends))^2 + max(v))
  q <- i2 <- NA
  if (all(e)) {
    w <- function(t2) 1 / (v + t2)
    value <- function(t2) all_pieces(d, best_mean(d, t2), t2)[1] - 0.5 * (log(sum(w(t2))) - log(2 * pi))
    slope <- function(t2) all_pieces(d, best_mean(d, t2), t2)[3] + 0.5 * sum(w(t2)^2) / sum(w(t2))
    best <- largest(value, slope, top, 20000)
    t2 <- best[1]; mu <- best_mean(d, t2)
    Q <- function(t2) sum((lo - best_mean(d, t2))^2 * w(t2))
    se <- sqrt(max(1, Q(t2) / (k - 1)) / sum(w(t2)))
    mean_ends <- mu + c(-1, 1) * qt((1 + level) / 2, k - 1) * se
    limit <- function(p) if (Q(0) <= qchisq(p, k - 1)) 0 else sqrt(root(function(t2) Q(t2) - qchisq(p, k - 1), 0, top * 100))
    tau_ends <- c(limit((1 + level) / 2), limit((1 - level) / 2))
    q <- Q(0); i2 <- max(0, (q - (k - 1)) / q)
  } else {
    value <- function(t2) all_pieces(d, best_mean(d, t2), t2)[1]
    slope <- function(t2) all_pieces(d, best_mean(d, t2), t2)[3]
    best <- largest(value, slope, top, 2000)
    t2 <- best[1]; mu <- best_mean(d, t2)
    share <- sapply(seq_along(v), function(i) piece(lo[i], hi[i], v[i], mu, t2)[4])
    m <- sum(share)
    se <- 1 / sqrt(sum(share / (v + t2)))
    of_mean <- function(x) largest(function(t2) all_pieces(d, x, t2)[1], function(t2) all_pieces(d, x, t2)[3], top * 100, 400)[2]
    if (m < 2) stop("no interval")
    allowed <- m * log(1 + qt((1 + level) / 2, m - 1)^2 / (m - 1)) / 2
    f <- function(x) of_mean(x) - best[2] + allowed
    far <- function(side) { step <- se; while (f(mu + side * step) > 0) step <- 1.3 * step; step }
    mean_ends <- c(root(f, mu - far(-1), mu), root(f, mu, mu + far(1)))
    g <- function(t2) value(t2) - best[2] + qchisq(level, 1) / 2
    tau_ends <- sqrt(c(if (g(0) >= 0) 0 else root(g, 0, t2), root(g, t2, top * 100)))
  }
  half <- if (m >= 3) qt((1 + level) / 2, m - 2) * sqrt(t2 + se^2) else NA
  cases[[length(cases) + 1]] <<- paste0('{"name": "', name, '",\n  "low": ', numbers(lo), ',\n  "high": ', numbers(hi), ',\n  "within": ',
    numbers(v), ',\n  "mean": ', number(mu), ', "mean_ends": ', numbers(mean_ends), ', "tau": ', number(sqrt(t2)), ', "tau_ends": ',
    numbers(tau_ends), ',\n  "prediction_ends": ', numbers(mu + c(-1, 1) * half), ', "q": ', number(q), ', "i_squared": ', number(i2),
    ', "log_likelihood": ', number(best[2]), '}')
}
exact <- function(name, y, v) case(name, y, y, v)

bcg <- matrix(c(4, 119, 11, 128, 6, 300, 29, 274, 3, 228, 11, 209, 62, 13536, 248, 12619, 33, 5036, 47, 5761, 180, 1361, 372, 1079, 8, 2537,
  10, 619, 505, 87886, 499, 87892, 29, 7470, 45, 7232, 17, 1699, 65, 1600, 186, 50448, 141, 27197, 5, 2493, 3, 2338, 27, 16886, 29, 17825),
  ncol = 4, byrow = TRUE)
n1 <- bcg[, 1] + bcg[, 2]; n2 <- bcg[, 3] + bcg[, 4]
exact("bcg", log((bcg[, 1] / n1) / (bcg[, 3] / n2)), 1 / bcg[, 1] - 1 / n1 + 1 / bcg[, 3] - 1 / n2)
exact("rates that differ by their errors alone", c(96, 101, 99, 104, 92), c(36, 49, 25, 64, 100))
exact("two", c(80, 120), c(30, 90))
exact("very unequal errors", c(70, 130, 95, 101, 160, 88), c(0.01, 400, 9, 2500, 64, 1))
exact("eight site-years", c(79.1, 114.6, 82.8, 95.7, 61.1, 76.8, 48.8, 101.4), c(140, 410, 85, 135, 30, 600, 23, 500))
# lo, hi: equal where exact.
case("one not reached", c(79.1, 114.6, 82.8, 95.7, 120), c(79.1, 114.6, 82.8, 95.7, Inf), c(140, 410, 85, 135, 140))
case("bounds on both sides", c(79, 61, 99, 110, -Inf, 120, 55), c(79, 61, 99, 110, 40, Inf, 90), c(64, 100, 144, 81, 90, 90, 90))
case("two exact", c(90, 70, 100, -Inf), c(90, 70, Inf, 60), c(25, 49, 36, 36))
case("no differences but errors", c(96, 101, 99, -Inf), c(96, 101, 99, 130), c(100, 120, 90, 100))
case("far in the tail", c(96, 101, 99, 140), c(96, 101, 99, Inf), c(4, 5, 3, 4))
case("narrow limits", c(79.1, 114.6, 82.8, 95.7 - 1e-4, 61.1), c(79.1, 114.6, 82.8, 95.7 + 1e-4, 61.1), c(140, 410, 85, 135, 30))
cat('{"source": "', R.version.string, '",\n "level": ', number(level), ',\n "cases": [\n', paste(cases, collapse = ",\n"), "\n]}\n", sep = "")
