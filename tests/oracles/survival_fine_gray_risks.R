# Risks that Fine and Gray's model implies: survfit of the weighted Cox model, by the package survival.
# Run in this folder: Rscript survival_fine_gray_risks.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
input <- "survival_tied.csv"
d <- read.csv(input)
d$status <- factor(d$state)
tight <- coxph.control(eps = 1e-13, toler.chol = 1e-14, iter.max = 50)
for (cause in 1:2) {
  w <- finegray(Surv(time, status) ~ ., data = d, etype = cause)
  fit <- coxph(Surv(fgstart, fgstop, fgstatus) ~ x1 + x2 + x3, data = w, weights = fgwt, ties = "breslow",
               control = tight)
  some <- d[c(1, 50, 200), ]
  risk <- 1 - summary(survfit(fit, newdata = some), times = c(98, 196, 350))$surv
  for (k in 1:3) put(paste("cause", cause), paste("row", c(1, 50, 200)[k], "day", c(98, 196, 350)), risk[, k])
}
write_values("survival_fine_gray_risks", input, "survival")
