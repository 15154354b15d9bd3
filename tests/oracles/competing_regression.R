# Fine and Gray's model by the packages survival and cmprsk, Gray's test by cmprsk.
# Run in this folder: Rscript competing_regression.R [output.csv]
source("lib/values.R")
suppressMessages({ library(survival); library(cmprsk) })
input <- "survival_tied.csv"
d <- read.csv(input)
terms <- c("x1", "x2", "x3")
d$row <- seq_len(nrow(d))
d$status <- factor(d$state)
for (cause in 1:2) {
  group <- paste("cause", cause)
  w <- finegray(Surv(time, status) ~ ., data = d, etype = cause)
  for (ties in c("efron", "breslow")) {
    fit <- coxph(Surv(fgstart, fgstop, fgstatus) ~ x1 + x2 + x3, data = w, weights = fgwt,
                 ties = ties, cluster = row)
    put(group, paste("survival", ties, terms), coef(fit))
    put(group, paste("survival", ties, "model se", terms), sqrt(diag(fit$naive.var)))
    put(group, paste("survival", ties, "row se", terms), sqrt(diag(fit$var)))
    put(group, paste("survival", ties, "log likelihood", c("null", "fit")), fit$loglik)
    by <- coxph(Surv(fgstart, fgstop, fgstatus) ~ x1 + x2 + x3, data = w, weights = fgwt,
                ties = ties, cluster = animal)
    put(group, paste("survival", ties, "animal se", terms), sqrt(diag(by$var)))
  }
  fit <- crr(d$time, d$state, as.matrix(d[terms]), failcode = cause, gtol = 1e-12)
  put(group, paste("cmprsk", terms), fit$coef)
  put(group, "cmprsk log likelihood fit", fit$loglik)
  for (rho in c(0, 1)) {
    plain <- cuminc(d$time, d$state, d$stratum, rho = rho)$Tests
    put(group, paste("gray by stratum rho", rho), plain[as.character(cause), "stat"])
    layered <- cuminc(d$time, d$state, d$x1, strata = d$stratum, rho = rho)$Tests
    put(group, paste("gray by x1 within strata rho", rho), layered[as.character(cause), "stat"])
  }
}
write_values("competing_regression", input, c("survival", "cmprsk"))
