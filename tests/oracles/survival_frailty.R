# Shared gamma frailty by coxph with all blocks of the information (sparse = FALSE), its outer loop
# tightened from 1e-5 to 1e-11 and its inner one to 1e-13 (fits at held variances agree to 1e-9; a
# search that compares heights finds the variance to 1e-5 at best).
# Run in this folder: Rscript survival_frailty.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("../../shared/published/rats.csv", "../../shared/published/kidney.csv")
rats <- read.csv(inputs[1])
kidney <- read.csv(inputs[2])
tight <- coxph.control(eps = 1e-13, iter.max = 200, outer.max = 200, toler.chol = 1e-14)
keep <- function(key, fit) {
  names <- names(coef(fit))
  terms <- which(!grepl("^gamma", names))
  put(key, paste("coef", names[terms]), coef(fit)[terms])
  put(key, paste("se", names[terms]), sqrt(diag(fit$var))[terms])
  put(key, "least log frailty", min(coef(fit)[-terms]))
  put(key, "theta", fit$history[[1]]$theta)
  put(key, "log likelihood", fit$history[[1]]$c.loglik)
  put(key, "without", fit$loglik[1])
}
# The variance of the frailties being estimated too: information of both by differences of fits
# at held variances, 0.02 apart in the log.
spread <- function(key, terms, data, theta, ties, group) {
  at <- function(log_theta) {
    held <- exp(log_theta)
    full <- as.formula(sprintf("Surv(time, status) ~ frailty(%s, sparse = FALSE, theta = held) + %s", group, terms))
    fit <- coxph(full, data, ties = ties, control = tight)
    terms <- !grepl("^gamma", names(coef(fit)))
    list(coef = coef(fit)[terms], value = fit$history[[1]]$c.loglik,
         var = fit$var[terms, terms, drop = FALSE])
  }
  climb <- optimize(function(l) at(l)$value, log(theta) + c(-0.2, 0.2), maximum = TRUE, tol = 1e-9)
  h <- 0.02; values <- sapply(-2:2, function(k) at(climb$maximum + k * h)$value)
  bend <- -sum(c(-1, 16, -30, 16, -1) / 12 * values) / h^2
  slope <- (at(climb$maximum + h / 2)$coef - at(climb$maximum - h / 2)$coef) / h
  put(key, paste("se theta estimated", names(slope)), sqrt(diag(at(climb$maximum)$var) + slope^2 / bend))
  put(key, paste("coef by optimize", names(slope)), at(climb$maximum)$coef)
  put(key, "theta by optimize", exp(climb$maximum))
  fallen <- function(l) 2 * (climb$objective - at(l)$value) - qchisq(0.95, 1)
  put(key, "theta high", exp(uniroot(fallen, climb$maximum + c(0.05, 1.5), tol = 1e-10)$root))
  if (fallen(-3.3) > 0) put(key, "theta low", exp(uniroot(fallen, c(-3.3, climb$maximum - 0.05), tol = 1e-10)$root))
}
for (ties in c("breslow", "efron")) {
  fit <- coxph(Surv(time, status) ~ frailty(litter, sparse = FALSE, eps = 1e-11) + rx, rats, ties = ties, control = tight)
  keep(paste("rats", ties), fit)
  spread(paste("rats", ties), "rx", rats, fit$history[[1]]$theta, ties, "litter")
  plain <- coxph(Surv(time, status) ~ rx, rats, ties = ties, control = tight)
  put(paste("rats", ties), "plain log likelihood", plain$loglik[2])
  for (theta in c(0.2, 1)) {
    held <- coxph(Surv(time, status) ~ frailty(litter, sparse = FALSE, theta = theta) + rx, rats, ties = ties, control = tight)
    key <- paste("rats", ties, theta)
    keep(key, held)
  }
  fit <- coxph(Surv(time, status) ~ frailty(id, sparse = FALSE, eps = 1e-11) + age + sex, kidney, ties = ties, control = tight)
  keep(paste("kidney", ties), fit)
  spread(paste("kidney", ties), "age + sex", kidney, fit$history[[1]]$theta, ties, "id")
}
write_values("survival_frailty", inputs, "survival")
