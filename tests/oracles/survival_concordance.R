# Reference values of Uno's concordance, by R's package survival.
# Run in this folder: Rscript survival_concordance.R [output.csv]
# survival_tied.csv is invented: 400 rows, fortnightly days, clusters, late entry, two causes.
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("../../shared/published/survival_lung.csv", "survival_tied.csv")
tight <- coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 50)
both <- function(key, fit, days) {
  put(key, "harrell", concordance(fit)$concordance)
  put(key, "uno", concordance(fit, timewt = "n/G2")$concordance)
  for (day in days) put(key, paste("uno", day), concordance(fit, timewt = "n/G2", ymax = day)$concordance)
}
lung <- read.csv(inputs[1])
lung <- lung[!is.na(lung$wt.loss), ]
both("lung", coxph(Surv(time, status) ~ age + sex + wt.loss, lung, control = tight), c(200, 310, 500))
tied <- read.csv(inputs[2])
tied$event <- as.integer(tied$state == 1)
both("tied", coxph(Surv(time, event) ~ x1 + x2 + x3, tied, control = tight), c(98, 196))
both("strata", coxph(Surv(time, event) ~ x1 + x2 + x3 + strata(stratum), tied, control = tight), c(98, 196))
write_values("survival_concordance", inputs, "survival")
