# Reference values for survival methods, by R's package survival and base R.
# Run in this folder: Rscript survival_models.R [output.csv]
# survival_tied.csv is invented: 400 rows, fortnightly days, clusters, late entry, two causes.
source("lib/values.R")
suppressMessages(library(survival))
input <- "survival_tied.csv"
d <- read.csv(input)
d$event <- as.integer(d$state == 1)
d$cause <- factor(d$state, 0:2)
d$id <- seq_len(nrow(d))
terms <- c("x1", "x2", "x3")
tight <- coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 50)

# 1 Cox: ties, strata, weights, late entry, clusters, alone and together
models <- list(
  plain = Surv(time, event) ~ x1 + x2 + x3,
  strata = Surv(time, event) ~ x1 + x2 + x3 + strata(stratum),
  weights = Surv(time, event) ~ x1 + x2 + x3,
  entry = Surv(entry, time, event) ~ x1 + x2 + x3,
  all = Surv(entry, time, event) ~ x1 + x2 + x3 + strata(stratum))
for (ties in c("efron", "breslow")) for (name in names(models)) {
  d$w <- if (name %in% c("weights", "all")) d$weight else 1
  fit <- coxph(models[[name]], d, weights = w, ties = ties, cluster = animal, control = tight)
  key <- paste("cox", ties, name)
  put(key, paste("coef", terms), coef(fit))
  put(key, paste("se", terms), sqrt(diag(fit$naive.var)))
  put(key, paste("robust se", terms), sqrt(diag(vcov(fit))))
  put(key, c("null", "log likelihood"), fit$loglik)
  put(key, "score", fit$score)
  put(key, "wald", fit$wald.test)
  put(key, "robust score", fit$rscore)
  if (!name %in% c("weights", "all")) put(key, "concordance", concordance(fit)$concordance)
  base <- basehaz(fit, centered = FALSE)
  put(key, "last hazard", tail(base$hazard, 1))
  expected <- d$event - residuals(fit, type = "martingale")
  put(key, paste("expected", c(1, 50, 200, 400)), expected[c(1, 50, 200, 400)])
  for (transform in c("km", "identity", "rank", "log")) {
    held <- cox.zph(fit, transform = transform)$table
    put(key, paste("zph", transform, rownames(held)), held[, "chisq"])
  }
}

# 2 Kaplan-Meier with late entry, three scales of limits; quantiles
for (type in c("log-log", "log", "plain")) {
  fit <- survfit(Surv(entry, time, event) ~ 1, d, conf.type = type)
  at <- summary(fit, times = c(28, 98, 196, 350))
  key <- paste("km", type)
  put(key, paste("survival", at$time), at$surv)
  put(key, paste("se", at$time), at$std.err)
  put(key, paste("low", at$time), at$lower)
  put(key, paste("high", at$time), at$upper)
  q <- quantile(survfit(Surv(time, state > 0) ~ 1, d, conf.type = type), c(0.25, 0.5))
  put(key, c("q25", "q25 low", "q25 high"), c(q$quantile[1], q$lower[1], q$upper[1]))
  put(key, c("q50", "q50 low", "q50 high"), c(q$quantile[2], q$lower[2], q$upper[2]))
}

# 3 log-rank of three groups, and its relative with weight S(t), plain and stratified
for (rho in c(0, 1)) {
  put("log rank", paste("rho", rho), survdiff(Surv(time, event) ~ stratum, d, rho = rho)$chisq)
  put("log rank", paste("rho", rho, "strata"),
      survdiff(Surv(time, event) ~ stratum + strata(x1), d, rho = rho)$chisq)
}

# 4 Aalen-Johansen: weights, late entry, clusters (sums of influences; row 1 of them is time 0)
days <- c(28, 98, 196, 350)
incidence <- function(key, fit, w) {
  at <- findInterval(days, fit$time)
  put(key, paste("estimate", days), fit$pstate[at, 2])
  put(key, paste("se", days), fit$std.err[at, 2])
  by_animal <- rowsum(w * fit$influence.pstate[, at + 1, 2], d$animal)
  put(key, paste("cluster se", days), sqrt(colSums(by_animal^2)))
}
one <- rep(1, nrow(d))
incidence("aj plain", survfit(Surv(time, cause) ~ 1, d, id = id, influence = TRUE), one)
incidence("aj weights", survfit(Surv(time, cause) ~ 1, d, id = id, weights = weight, influence = TRUE), d$weight)
incidence("aj all", survfit(Surv(entry, time, cause) ~ 1, d, id = id, weights = weight, influence = TRUE), d$weight)

# 5 incidence standardised over the rows, from a multi-state Cox model. Breslow's ties: with
# Efron's, survfit puts Breslow's baseline beside Efron's coefficients
fit <- coxph(Surv(time, cause) ~ x1 + x2 + x3, d, id = id, ties = "breslow", control = tight)
for (arm in 0:1) {
  curves <- survfit(fit, newdata = transform(d, x1 = arm), se.fit = FALSE)
  at <- findInterval(days, curves$time)
  put("standardised", paste("arm", arm, "day", days), rowMeans(curves$pstate[at, , 2]))
}

write_values("survival_models", input, "survival")
