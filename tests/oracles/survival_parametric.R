# Parametric models of exact, right-censored and interval-censored days by the package survival.
# Run in this folder: Rscript survival_parametric.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("survival_tied.csv", "../../shared/published/bcos.csv")
d <- read.csv(inputs[1])
d$event <- as.numeric(d$state == 1)
# Visits every 60 days: an event lies between the visit before it and the one after it.
d$left <- ifelse(d$event == 1, 60 * floor((d$time - 1) / 60), d$time)
d$right <- ifelse(d$event == 1, 60 * ceiling(d$time / 60), NA)
d$open <- ifelse(d$left == 0, NA, d$left)  # survreg's way to say before the first visit
b <- read.csv(inputs[2])
b$left[b$left == 0] <- NA
b$arm <- as.numeric(b$treatment == "RadChem")
keep <- function(group, fit) {
  names <- c("intercept", setdiff(names(coef(fit)), "(Intercept)"), "log_scale")
  errors <- sqrt(diag(fit$var))
  put(group, paste("coefficient", names), c(coef(fit), log(fit$scale)))
  put(group, paste("error", names), errors)
  put(group, paste("log likelihood", c("null", "fit")), fit$loglik)
}
for (dist in c("weibull", "lognormal", "loglogistic")) {
  exact <- survreg(Surv(time, event) ~ x1 + x2 + x3, d, dist = dist, control = list(rel.tolerance = 1e-14, maxiter = 200))
  keep(paste(dist, "right-censored"), exact)
  put(paste(dist, "right-censored"), paste0("day of share ", c(0.1, 0.5), " of the first row"),
      predict(exact, d[1, ], type = "quantile", p = c(0.1, 0.5)))
  keep(paste(dist, "by animal"), survreg(Surv(time, event) ~ x1 + x2 + x3 + cluster(animal), d, dist = dist,
       control = list(rel.tolerance = 1e-14, maxiter = 200)))
  keep(paste(dist, "intervals"), survreg(Surv(open, right, type = "interval2") ~ x1 + x2 + x3, d, dist = dist,
       control = list(rel.tolerance = 1e-14, maxiter = 200)))
  keep(paste(dist, "bcos"), survreg(Surv(left, right, type = "interval2") ~ arm, b, dist = dist,
       control = list(rel.tolerance = 1e-14, maxiter = 200)))
}
# Few events, everybody else followed for long: every tenth row may have its event.
f <- d
f$event <- ifelse((seq_len(nrow(f)) - 1) %% 10 == 0, f$event, 0)
f$open <- ifelse(f$event == 1, f$open, 420)
f$right <- ifelse(f$event == 1, f$right, NA)
for (dist in c("weibull", "lognormal", "loglogistic"))
  keep(paste(dist, "few events"), survreg(Surv(open, right, type = "interval2") ~ x1 + x2 + x3, f, dist = dist,
       control = list(rel.tolerance = 1e-14, maxiter = 200)))
write_values("survival_parametric", inputs, "survival")
