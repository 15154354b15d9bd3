# Reference values of mean cumulative counts, by R's package survival.
# Run in this folder: Rscript survival_mean_count.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("../../shared/published/survival_bladder2.csv", "../../shared/published/survival_bladder1.csv")
b2 <- read.csv(inputs[1])
b1 <- subset(read.csv(inputs[2]), start < stop)
days <- c(6, 12, 24, 36)

# 1 recurrences without death: cumhaz and std.chaz, all patients and each treatment
count <- function(key, d) {
  fit <- survfit(Surv(start, stop, event) ~ 1, d, id = id)
  at <- findInterval(days, fit$time)
  put(key, paste("count", days), fit$cumhaz[at])
  put(key, paste("se", days), fit$std.chaz[at])
}
count("all", b2)
for (arm in 1:2) count(paste("rx", arm), b2[b2$rx == arm, ])

# 2 the robust score test of the Andersen-Gill model with one term
fit <- coxph(Surv(start, stop, event) ~ rx, b2, cluster = id, ties = "efron")
put("arms", "robust score", fit$rscore)

# 3 death ends the counting: sum of S(t-) dH(t) and its influences by patient, from those of the
# curve free of death and of the cumulative hazard of recurrence, S(t-) being the curve before t
terminal <- function(key, d) {
  d$event <- as.integer(d$status == 1)
  d$death <- as.integer(d$status >= 2)
  one <- survfit(Surv(start, stop, event) ~ 1, d, id = id, influence = TRUE)
  end <- survfit(Surv(start, stop, death) ~ 1, d, id = id, influence = TRUE)
  stopifnot(identical(one$time, end$time))
  n <- length(one$time)
  free <- c(1, end$surv[-n])
  by <- rowsum(one$influence.chaz, rownames(one$influence.chaz))
  by_free <- rowsum(end$influence.surv, rownames(end$influence.surv))[rownames(by), ]
  by_free <- cbind(0, by_free[, -n])
  jump <- diff(c(0, one$cumhaz))
  by_jump <- by - cbind(0, by[, -n])
  moved <- t(apply(sweep(by_jump, 2, free, "*") + sweep(by_free, 2, jump, "*"), 1, cumsum))
  at <- findInterval(days, one$time)
  put(key, paste("count", days), cumsum(free * jump)[at])
  put(key, paste("se", days), sqrt(colSums(moved^2))[at])
  put(key, paste("rate", days), one$cumhaz[at])
  put(key, paste("rate se", days), one$std.chaz[at])
}
terminal("death", b1)
for (arm in levels(factor(b1$treatment))) terminal(paste("death", arm), b1[b1$treatment == arm, ])

write_values("survival_mean_count", inputs, "survival")
