# Reference for stats::censored: normal regression with censored responses, by R's survival::survreg.
# Independent of stook: survreg works with log(scale) and Newton's method on its own code.
# Run in this folder:  Rscript survreg.R > survreg.json
suppressPackageStartupMessages(library(survival))
set.seed(1978, kind = "Mersenne-Twister", normal.kind = "Inversion")
number <- function(x) ifelse(is.na(x), "null", sprintf("%.17g", x))
numbers <- function(x) paste0("[", paste(number(x), collapse = ", "), "]")
cases <- list()
case <- function(name, X, y, low = -Inf, high = Inf) {
  # At or under `low` only "at most low" is known, at or over `high` only "at least high".
  left <- ifelse(y <= low, NA, pmin(y, high))
  right <- ifelse(y >= high, NA, pmax(y, low))
  fit <- survreg(Surv(left, right, type = "interval2") ~ X - 1, dist = "gaussian",
                 control = survreg.control(maxiter = 500, rel.tolerance = 1e-15, outer.max = 50))
  cases[[length(cases) + 1]] <<- paste0(
    '{"name": "', name, '",\n  "columns": [', paste(apply(X, 2, numbers), collapse = ",\n    "),
    '],\n  "left": ', numbers(left), ',\n  "right": ', numbers(right),
    ',\n  "coefficients": ', numbers(unname(fit$coefficients)), ', "sigma": ', number(fit$scale),
    ', "log_likelihood": ', number(fit$loglik[2]), '}')
}
index <- function(n) round(runif(n, 0.6, 1.05), 3)
x <- index(24)
case("need falls to zero", cbind(1, x), 300 - 310 * x + rnorm(24, 0, 12), low = 0)
x <- index(40)
case("both ends, quadratic", cbind(1, x, x^2), -200 + 1100 * x - 880 * x^2 + rnorm(40, 0, 15), low = 5, high = 120)
x <- index(12)
case("mostly censored", cbind(1, x), 220 - 240 * x + rnorm(12, 0, 20), low = 30)
case("mean only", cbind(rep(1, 15)), 40 + rnorm(15, 0, 10), low = 35)
x <- index(60); z <- round(rnorm(60), 2); d <- rep(c(0, 1), 30)
case("four columns, far from zero", cbind(1, x, z, d), 2000 + 500 * x + 3 * z - 20 * d + rnorm(60, 0, 8), high = 2420)
x <- index(20)
case("no intercept", cbind(x), 50 * x + rnorm(20, 0, 4), low = 38)
cat('{"source": "', R.version.string, ", survival ", as.character(packageVersion("survival")),
    ', survreg(dist = gaussian)",\n "cases": [\n', paste(cases, collapse = ",\n"), "\n]}\n", sep = "")
