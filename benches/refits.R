# 2 000 residual-bootstrap refits of a quadratic-plateau by stats::nls, beside `cargo bench --bench response`.
# Run from the top of the repository: Rscript benches/refits.R
trial <- read.csv("tests/reference/data/oracle/s1_qp.csv")
rate <- trial$rate
curve <- function(x, a, b, c) { m <- pmin(x, -b / (2 * c)); a + b * m + c * m^2 }
start <- list(a = 44.82544, b = 0.5102424, c = -0.002462786)
fitted <- do.call(curve, c(list(rate), start))
residuals <- trial$yield - fitted
set.seed(7)
drawn <- matrix(sample(nrow(trial), nrow(trial) * 2000, TRUE), 2000)
refit <- function(...) {
  joins <- rep(NA_real_, 2000)
  taken <- system.time(for (i in 1:2000) {
    y <- fitted + residuals[drawn[i, ]]
    model <- tryCatch(suppressWarnings(nls(y ~ curve(rate, a, b, c), start = start, ...)), error = function(e) NULL)
    if (!is.null(model)) { found <- coef(model); joins[i] <- -found[[2]] / (2 * found[[3]]) }
  })
  cat(sprintf("%.0f us of CPU a refit, %d of 2000 failed, join %s\n", 1e6 * (taken[[1]] + taken[[2]]) / 2000, sum(is.na(joins)),
              paste(signif(quantile(joins, c(.025, .5, .975), na.rm = TRUE), 5), collapse = " ")))
}
cat(R.version.string, "\nnls: "); refit()
cat("nls, port: "); refit(algorithm = "port")
