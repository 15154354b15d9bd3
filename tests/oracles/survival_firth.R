# Firth's penalised Cox regression by its definition: the penalised likelihood from coxph without a
# step, maximised by nlm and profiled by optim. Takes half a minute.
# Run in this folder: Rscript survival_firth.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
input <- "survival_tied.csv"
d <- read.csv(input)
d$event <- as.integer(d$state == 1)
terms <- c("x1", "x2", "x3")
d$year <- d$x3 - 2020
penalised <- function(beta, ties) {
  fit <- coxph(Surv(time, event) ~ x1 + x2 + year, d, init = beta, iter.max = 0, ties = ties)
  -(fit$loglik[2] - 0.5 * as.numeric(determinant(fit$var)$modulus))
}
for (ties in c("efron", "breslow")) {
  first <- coef(coxph(Surv(time, event) ~ x1 + x2 + year, d, ties = ties))
  top <- nlm(penalised, first, ties = ties, gradtol = 1e-11, steptol = 1e-14, stepmax = 0.5)
  top <- nlm(penalised, top$estimate, ties = ties, gradtol = 1e-11, steptol = 1e-14, stepmax = 0.5)
  key <- paste("firth", ties)
  put(key, paste("coef", terms), top$estimate)
  put(key, "log likelihood", -top$minimum)
  held <- function(value) {
    at <- top$estimate[2:3]
    for (again in 1:3) {
      fit <- optim(at, function(b) penalised(c(value, b), ties), control = list(reltol = 1e-15, maxit = 1000))
      at <- fit$par
    }
    2 * (fit$value - top$minimum)
  }
  target <- qchisq(0.95, 1)
  put(key, "low x1", uniroot(function(v) held(v) - target, top$estimate[1] - c(0.6, 0.05), tol = 1e-8)$root)
  put(key, "high x1", uniroot(function(v) held(v) - target, top$estimate[1] + c(0.05, 0.6), tol = 1e-8)$root)
  put(key, "test x1", held(0))
}
write_values("survival_firth", input, "survival")
