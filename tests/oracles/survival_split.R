# Rows cut at days by survSplit, and an effect that changes at the cuts. Run in this folder:
# Rscript survival_split.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
input <- "survival_tied.csv"
d <- read.csv(input)
d$event <- as.integer(d$state == 1)
d$row <- seq_len(nrow(d))
for (name in c("whole", "late")) {
  formula <- if (name == "late") Surv(entry, time, event) ~ row + x1 + x2 else Surv(time, event) ~ row + x1 + x2
  s <- survSplit(formula, d, cut = c(91, 183), episode = "period", start = "from")
  s <- s[order(s$row, s$period), ]
  weight <- sin(seq_len(nrow(s)))  # so that each row has its place in a sum
  put(name, "rows", nrow(s)); put(name, "from", sum(weight * s$from)); put(name, "to", sum(weight * s$time))
  put(name, "events", sum(weight * s$event)); put(name, "of row", sum(weight * s$row)); put(name, "period", sum(weight * s$period))
  fit <- coxph(Surv(from, time, event) ~ x2 + x1:factor(period), s)
  put(name, paste("coef", c("x2", "early", "middle", "late")), coef(fit))
  put(name, paste("se", c("x2", "early", "middle", "late")), sqrt(diag(fit$var)))
}
write_values("survival_split", input, "survival")
