# Residual diagnostics, factor comparisons and weighted treatment means with R's own functions; writes which_curve.json.
# Independent of stook: everything is by lm, anova, shapiro.test, hatvalues and rstudent. Run in this folder: Rscript which_curve.R
set.seed(1, kind = "Mersenne-Twister", normal.kind = "Inversion")
json <- function(x) {
  if (is.list(x)) return(paste0("{", paste0('"', names(x), '": ', vapply(x, json, ""), collapse = ",\n"), "}"))
  one <- if (is.character(x)) paste0('"', x, '"') else ifelse(is.na(x), "null", sprintf("%.17g", x))
  if (length(x) == 1) one else paste0("[", paste(one, collapse = ", "), "]")
}
data <- function(name) read.csv(file.path("../data", name))
samples <- list(
  three = c(4.1, 5.2, 9.9), three_close = c(1, 1.02, 1.9), four = c(2, 3, 5, 11), five = c(1.2, 0.4, 3.3, 2.8, 2.9),
  six = c(0.1, 0.5, -0.3, 1.9, -2.2, 0.6), eleven = round(rnorm(11), 4), twelve = round(rexp(12), 4),
  ties = c(1, 1, 2, 2, 2, 3, 3, 4, 7, 7, 7, 9), twenty_four = round(rnorm(24, 0, 3), 3), fifty = round(rt(50, 3), 4),
  skewed = round(exp(rnorm(200)), 4), outlier = c(round(rnorm(19), 4), 25), large_mean = 1e6 + round(rnorm(15), 3))
shapiro <- lapply(samples, function(x) { s <- shapiro.test(x); list(sample = x, w = unname(s$statistic), p = s$p.value) })

spread_of <- function(r, g) {
  z <- ave(r, g, FUN = function(x) abs(x - median(x)))
  a <- anova(lm(z ~ factor(g)))
  list(values = r, groups = as.integer(factor(g)) - 1L, f = a[1, "F value"], df = a[1, "Df"], error_df = a[2, "Df"], p = a[1, "Pr(>F)"])
}
spread <- list(
  sprays = with(InsectSprays, spread_of(count, spray)),
  warp = with(warpbreaks, spread_of(breaks, paste(wool, tension))),
  unequal = spread_of(c(1, 2, 4, 9, 3, 3.5, 4.5, 12, 1, 0), c(0, 0, 0, 0, 40, 40, 40, 80, 80, 80)))

diagnosed <- function(m, d) {
  list(leverage = unname(hatvalues(m)), internal = unname(rstandard(m)), external = unname(rstudent(m)),
       furthest_p = min(1, length(d$yield) * min(2 * pt(-abs(rstudent(m)), m$df.residual - 1))),
       normality = { s <- shapiro.test(unname(residuals(m))); list(w = unname(s$statistic), p = s$p.value) },
       spread = spread_of(unname(residuals(m)), d$rate)[c("f", "df", "error_df", "p")])
}
plateau <- function(d) { # the tangent at the best join: nuisance, the column, its derivative by the join
  fit <- function(J) { x <- pmin(d$rate, J); lm(yield ~ factor(block) + I(x - x^2 / (2 * J)), d) }
  J <- optimize(function(J) deviance(fit(J)), c(50, max(d$rate)), tol = 1e-12)$minimum
  x <- pmin(d$rate, J)
  g <- x - x^2 / (2 * J); dg <- ifelse(d$rate < J, d$rate^2 / (2 * J^2), 0.5)
  list(join = J, leverage = unname(hatvalues(lm(yield ~ factor(block) + g + dg, d))))
}
residuals_of <- lapply(c(s1 = "oracle/s1_qp.csv", s6 = "oracle/s6_unbalanced.csv", s7 = "oracle/s7_unequal.csv"), function(file) {
  d <- data(file)
  list(file = file, linear = diagnosed(lm(yield ~ factor(block) + rate, d), d),
       quadratic = diagnosed(lm(yield ~ factor(block) + rate + I(rate^2), d), d),
       plain_quadratic = diagnosed(lm(yield ~ rate + I(rate^2), d), d), quadratic_plateau = plateau(d))
})

nested <- function(small, large) {
  a <- anova(small, large)
  list(ss = a[2, "Sum of Sq"], df = a[2, "Df"], error_df = a[2, "Res.Df"], f = a[2, "F"], p = a[2, "Pr(>F)"])
}
oats <- data("yates_oats_1935.csv"); oats$cell <- interaction(oats$variety, oats$block); oats$v <- factor(oats$variety)
compare <- function(d) list(
  interaction = nested(lm(yield ~ cell + factor(nitrogen), d), lm(yield ~ cell + factor(nitrogen) * v, d)),
  linear = nested(lm(yield ~ cell + nitrogen, d), lm(yield ~ cell + nitrogen:v, d)),
  quadratic = nested(lm(yield ~ cell + nitrogen + I(nitrogen^2), d), lm(yield ~ cell + nitrogen:v + I(nitrogen^2):v, d)))
factors <- list(all = compare(oats), without = compare(oats[-c(3, 17, 40, 41, 66), ]))

means <- data.frame(rate = c(0, 30, 60, 90, 120, 150, 60), yield = c(40.25, 56.5, 67, 74, 76.5, 76.25, 66), n = c(4, 4, 3, 4, 2, 4, 1))
weighted <- function(m) { k <- length(coef(m)) + 1; n <- nobs(m)
  list(rss = deviance(m), df = m$df.residual, aic = AIC(m), bic = BIC(m), coefficients = unname(coef(m)),
       leverage = unname(hatvalues(m)), external = unname(rstudent(m))) }
of_means <- list(data = means, linear = weighted(lm(yield ~ rate, means, weights = n)),
                 quadratic = weighted(lm(yield ~ rate + I(rate^2), means, weights = n)))
writeLines(json(list(shapiro = shapiro, spread = spread, residuals = residuals_of, factors = factors,
                     means = of_means)), "which_curve.json")
