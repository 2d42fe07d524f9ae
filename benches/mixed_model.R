# A combined analysis of 60 site-years (8 rates, 4 blocks) by lme4, lmerTest and pbkrtest, beside `cargo bench --bench mixed_model`.
# Both make the same data. Run from anywhere: Rscript benches/mixed_model.R
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest)})
made <- function(sites) {
  p <- expand.grid(block = 0:3, rate = 0:7, site = seq_len(sites) - 1); i <- seq_len(nrow(p)) - 1
  wave <- function(k, m) ((31 * k * k + 7919 * k) %% m) / m - 0.5
  p$y <- 60 + 20 * wave(p$site + 3, 101) + 4 * wave(4 * p$site + p$block + 1, 211) + 25 * (1 - (1 - pmin(p$rate, 5) / 5)^2) + 10 * wave(i + 17, 10007) +
    3 * wave(8 * p$site + p$rate + 5, 499)
  transform(p, site = factor(site), block = factor(site * 4L + block), rate = factor(rate))
}
timed <- function(what, times, run) { taken <- replicate(times, system.time(run())[[3]]); cat(sprintf("%-42s %10.1f ms (median of %d)\n", what, 1000 * median(taken), times)) }
cat(R.version.string, "lme4", as.character(packageVersion("lme4")), "\n"); d <- made(60)
m <- lmerTest::lmer(y ~ rate + (1 | site) + (1 | block), d); print(as.data.frame(VarCorr(m))[, c("grp", "vcov")], digits = 10); print(anova(m), digits = 10)
timed("fit, lme4", 9, function() lme4::lmer(y ~ rate + (1 | site) + (1 | block), d))
timed("fit and F by Satterthwaite, lmerTest", 5, function() anova(lmerTest::lmer(y ~ rate + (1 | site) + (1 | block), d)))
lost <- local({ i <- seq_len(nrow(d)) - 1; s <- i %/% 32; p <- i %% 32; p == (7 * s + 3) %% 32 | p == (11 * s^2 + 5) %% 32 })
timed("fit and F by Satterthwaite, plots lost", 5, function() anova(lmerTest::lmer(y ~ rate + (1 | site) + (1 | block), d[!lost, ])))
timed("fit and F by Satterthwaite, rate × site", 5, function() anova(lmerTest::lmer(y ~ rate + (1 | site) + (1 | block) + (1 | site:rate), d)))
timed("fit, lme4, 1 000 site-years", 3, function() lme4::lmer(y ~ rate + (1 | site) + (1 | block), made(1000)))
timed("fit and F by Kenward-Roger, pbkrtest", 1, function() anova(lmerTest::lmer(y ~ rate + (1 | site) + (1 | block), d), ddf = "Kenward-Roger"))
