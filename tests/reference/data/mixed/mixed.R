# Reference results for linear mixed models: Rscript mixed.R, in this folder (R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2,
# nlme 3.1-162, numDeriv). Optima of lme4 are polished by Newton's method on its own deviance function with numDeriv's derivatives:
# its optimisers stop at seven or eight digits of the variances, and Satterthwaite's degrees of freedom then have five.
source("../oracle/common.R")
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(nlme); library(numDeriv)})
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(maxfun = 2e5, rhoend = 1e-10))
table_of <- function(a) { a <- as.data.frame(a); data.frame(term = trimws(rownames(a)), a, row.names = NULL, check.names = FALSE) }
quietly <- function(e) suppressMessages(suppressWarnings(e))
# Newton's method from lme4's optimum; factors that lme4 has at zero stay there.
polished <- function(formula, data, REML = TRUE) {
  m <- quietly(lmer(formula, data, REML = REML, control = tight)); theta <- getME(m, "theta"); free <- which(abs(theta) > 1e-4); theta[abs(theta) <= 1e-4] <- 0
  dev <- quietly(lmer(formula, data, REML = REML, devFunOnly = TRUE)); f <- function(t) { th <- theta; th[free] <- t; dev(th) }
  t <- theta[free]; if (length(free)) for (i in 1:6) t <- t - drop(solve(hessian(f, t), grad(f, t, method.args = list(d = 0.02, r = 6)))); theta[free] <- t
  quietly(lmerTest::lmer(formula, data, REML = REML, start = list(theta = unname(theta)), control = lmerControl(optimizer = NULL, calc.derivs = FALSE, check.conv.singular = "ignore")))
}
summary_of <- function(m, kr = FALSE) {
  vc <- as.data.frame(VarCorr(m)); r <- as.data.frame(ranef(m, condVar = TRUE))
  list(log_likelihood = as.numeric(logLik(m)), aic = AIC(m), bic = BIC(m), varcomp = vc[, c("grp", "var1", "var2", "vcov")], fixef = unname(fixef(m)), vcov = unname(as.matrix(vcov(m))),
    satterthwaite = if (isREML(m)) table_of(anova(m, type = 1)), coef_satterthwaite = if (isREML(m)) table_of(coef(summary(m))),
    kenward_roger = if (kr) table_of(anova(m, type = 1, ddf = "Kenward-Roger")), coef_kenward_roger = if (kr) table_of(coef(summary(m, ddf = "Kenward-Roger"))),
    random_effects = data.frame(group = as.character(r$grpvar), term = as.character(r$term), level = as.character(r$grp), value = r$condval, sd = r$condsd),
    fitted = I(unname(fitted(m))))
}
out <- list()
# Site-years with random coefficients, one fit singular.
for (set in c("c1_regular", "c2_variable")) {
  d <- read.csv(file.path("../oracle", paste0(set, ".csv"))); d$x <- d$rate / 100; d$sb <- interaction(d$site, d$block, drop = TRUE)
  out[[set]] <- list(correlated = summary_of(polished(yield ~ x + I(x^2) + (1 + x + I(x^2) | site) + (1 | sb), d), TRUE),
    uncorrelated = summary_of(polished(yield ~ x + I(x^2) + (1 + x + I(x^2) || site) + (1 | sb), d), TRUE))
  # One residual variance a site-year.
  for (method in c("REML", "ML")) {
    m <- lme(yield ~ x + I(x^2), random = ~ 1 | site/block, weights = varIdent(form = ~ 1 | site), data = d, method = method, control = lmeControl(maxIter = 500, msMaxIter = 500, niterEM = 50, tolerance = 1e-12, msTol = 1e-14, opt = "nlminb"))
    s <- m$sigma * c(1, coef(m$modelStruct$varStruct, unconstrained = FALSE)); names(s)[1] <- setdiff(unique(d$site), names(s)[-1])
    out[[set]][[paste0("var_ident_", method)]] <- list(log_likelihood = as.numeric(logLik(m)), residual = as.list((s^2)[sort(names(s))]),
      random = I(suppressWarnings(as.numeric(VarCorr(m)[, 1]))), fixef = unname(fixef(m)), vcov = unname(vcov(m)))
  }
}
# Oats with nitrogen as a line: the restricted criterion behind the published AIC of 581.2372.
oats <- MASS::oats; oats$x <- c(0, .2, .4, .6)[as.integer(oats$N)]
out$oats_line <- summary_of(polished(Y ~ V * x + (1 | B / V), oats), TRUE)
# Completely crossed, one component: Davies & Goldsmith (1972), from lme4.
out$penicillin <- c(list(data = data.frame(diameter = Penicillin$diameter, plate = as.character(Penicillin$plate), sample = as.character(Penicillin$sample))), REML = list(summary_of(polished(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin), TRUE)), ML = list(summary_of(polished(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, FALSE))))
# Reaction times, Belenky et al. (2003), from lme4: its published example.
out$sleep <- c(list(data = data.frame(reaction = sleepstudy$Reaction, days = sleepstudy$Days, subject = as.character(sleepstudy$Subject))), REML = list(summary_of(polished(Reaction ~ Days + (Days | Subject), sleepstudy), TRUE)), ML = list(summary_of(polished(Reaction ~ Days + (Days | Subject), sleepstudy, FALSE))))
# Unbalanced, with a block variance of zero: Kenward and Roger at the boundary.
d <- read.csv("../oracle/s6_unbalanced.csv"); d$T <- factor(d$rate); d$B <- factor(d$block); d$flat <- residuals(lm(yield ~ T + B, d)) + 10 * as.integer(d$T)
out$zero_block <- c(list(response = I(d$flat)), summary_of(polished(flat ~ T + (1 | B), d), TRUE))
# Profile intervals at 95 %: lme4's own (always of the unrestricted likelihood, interpolated; it gives up on some ends), and either
# likelihood profiled directly with its deviance function.
own <- function(formula, data) { p <- quietly(profile(quietly(lme4::lmer(formula, data, REML = FALSE, control = tight)), which = "theta_", devtol = 1e-14, delta = 0.02, signames = FALSE)); ci <- confint(p, level = 0.95)^2; colnames(ci) <- c("low", "high"); data.frame(name = rownames(ci), ci, row.names = NULL) }
# Variances of random intercepts: at a variance v of term i the others, and the residual, are searched.
direct <- function(formula, data, REML) {
  m <- polished(formula, data, REML); dev <- quietly(lme4::lmer(formula, data, REML = REML, devFunOnly = TRUE)); k <- length(getME(m, "theta")); n <- nrow(data) - REML * length(fixef(m)); e <- environment(dev)
  full <- function(v) { if (inherits(try(dev(sqrt(v[1:k] / v[k + 1])), silent = TRUE), "try-error")) return(1e10); e$pp$ldL2() + REML * e$pp$ldRX2() + n * log(2 * pi * v[k + 1]) + (e$resp$wrss() + e$pp$sqrL(1)) / v[k + 1] }
  best <- c((getME(m, "theta") * sigma(m))^2, sigma(m)^2); least <- full(best)
  at <- function(i, v) { f <- function(s) { w <- best; w[-i] <- exp(s); w[i] <- v; full(w) }; s <- log(pmax(best[-i], 1e-8)); for (r in 1:4) s <- nlminb(s, f, lower = log(1e-10), upper = log(1e8), control = list(rel.tol = 1e-15, x.tol = 1e-12))$par; f(s) - least - qchisq(.95, 1) }
  ends <- function(i) { low <- if (at(i, best[i] * 1e-12) < 0) 0 else exp(uniroot(function(l) at(i, exp(l)), log(best[i]) + c(-12, 0), tol = 1e-11)$root); data.frame(low = low, high = exp(uniroot(function(l) at(i, exp(l)), log(best[i]) + c(0, 6), extendInt = "upX", tol = 1e-11)$root)) }
  data.frame(name = c(names(getME(m, "theta")), "residual"), do.call(rbind, lapply(seq_len(k + 1), ends)))
}
c1 <- read.csv("../oracle/c1_regular.csv"); c1$x <- c1$rate / 100; c1$sb <- interaction(c1$site, c1$block, drop = TRUE)
s1 <- read.csv("../oracle/s1_qp.csv"); s1$T <- factor(s1$rate)
un <- read.csv("../oracle/oats_unbalanced.csv"); un$N <- factor(un$nitrogen)
for (name in names(cases <- list(oats_additive = list(Y ~ V + N + (1 | B / V), oats), s1 = list(yield ~ T + (1 | block), s1), c1 = list(yield ~ x + I(x^2) + (1 | site) + (1 | sb), c1), oats_unbalanced = list(yield ~ variety + N + (1 | block / variety), un))))
  out$profile[[name]] <- list(lme4 = own(cases[[name]][[1]], cases[[name]][[2]]), ML = direct(cases[[name]][[1]], cases[[name]][[2]], FALSE), REML = direct(cases[[name]][[1]], cases[[name]][[2]], TRUE))
out$profile$sleep <- list(lme4 = own(Reaction ~ Days + (Days | Subject), sleepstudy))
out$versions <- lapply(c(lme4 = "lme4", lmerTest = "lmerTest", pbkrtest = "pbkrtest", nlme = "nlme"), function(p) as.character(packageVersion(p)))
writejson(out, "mixed.json")
