# Profile partial likelihood limits by their definition: a slow search with uniroot over coxph with
# the coefficient held in an offset. Run in this folder: Rscript survival_profile.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("survival_tied.csv", "../../shared/published/rossi.csv")
d <- read.csv(inputs[1])
d$event <- as.integer(d$state == 1)
terms <- c("x1", "x2", "x3")
tight <- coxph.control(eps = 1e-14, iter.max = 100, toler.chol = 1e-15)
models <- list(plain = list(), late = list(entry = TRUE), stratified = list(strata = TRUE), weighted = list(weights = TRUE))
for (ties in c("efron", "breslow")) for (name in names(models)) {
  model <- models[[name]]
  left <- if (isTRUE(model$entry)) "Surv(entry, time, event)" else "Surv(time, event)"
  also <- if (isTRUE(model$strata)) "+ strata(stratum)" else ""
  d$w <- if (isTRUE(model$weights)) d$weight else 1
  fit <- coxph(as.formula(paste(left, "~", paste(terms, collapse = "+"), also)), d, weights = w, ties = ties, control = tight)
  for (term in terms) {
    others <- paste(setdiff(terms, term), collapse = "+")
    held <- function(value) {
      d$held <- value * d[[term]]
      at <- coxph(as.formula(paste(left, "~", others, also, "+ offset(held)")), d, weights = w, ties = ties, control = tight)
      2 * (fit$loglik[2] - at$loglik[2])
    }
    se <- sqrt(fit$var[match(term, terms), match(term, terms)])
    b <- coef(fit)[[term]]
    key <- paste(ties, name)
    put(key, paste("low", term), uniroot(function(v) held(v) - qchisq(0.95, 1), b - c(4, 1) * se, tol = 1e-11)$root)
    put(key, paste("high", term), uniroot(function(v) held(v) - qchisq(0.95, 1), b + c(1, 4) * se, tol = 1e-11)$root)
    put(key, paste("test", term), held(0))
  }
}
rossi <- read.csv(inputs[2])
all <- c("fin", "age", "race", "wexp", "mar", "paro", "prio")
fit <- coxph(reformulate(all, "Surv(week, arrest)"), rossi, control = tight)
for (term in c("fin", "mar")) {
  held <- function(value) {
    rossi$held <- value * rossi[[term]]
    at <- coxph(reformulate(c(setdiff(all, term), "offset(held)"), "Surv(week, arrest)"), rossi, control = tight)
    2 * (fit$loglik[2] - at$loglik[2])
  }
  b <- coef(fit)[[term]]
  put("rossi", paste("low", term), uniroot(function(v) held(v) - qchisq(0.95, 1), b - c(2, 0.1), tol = 1e-11)$root)
  put("rossi", paste("high", term), uniroot(function(v) held(v) - qchisq(0.95, 1), b + c(0.1, 2), tol = 1e-11)$root)
  put("rossi", paste("test", term), held(0))
}
write_values("survival_profile", inputs, "survival")
