# Predicted survival of profiles by survfit of coxph with new data, model-based and robust by animal.
# Run in this folder: Rscript survival_predict.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("survival_tied.csv", "../../shared/published/rossi.csv")
d <- read.csv(inputs[1])
d$event <- as.integer(d$state == 1)
new <- data.frame(x1 = c(0, 1), x2 = c(-0.5, 1.2), x3 = c(2019, 2022))
for (ties in c("efron", "breslow")) for (name in c("plain", "late", "robust")) {
  left <- if (name == "late") "Surv(entry, time, event)" else "Surv(time, event)"
  formula <- as.formula(paste(left, "~ x1 + x2 + x3"))
  fit <- if (name == "robust") coxph(formula, d, ties = ties, cluster = animal) else coxph(formula, d, ties = ties)
  curves <- survfit(fit, newdata = new, conf.type = "log-log")
  for (row in 1:2) for (day in c(91, 183, 365)) {
    at <- summary(curves[row], times = day)
    key <- paste(ties, name, row)
    put(key, paste("survival", day), at$surv)
    put(key, paste("low", day), at$lower)
    put(key, paste("high", day), at$upper)
    last <- max(which(curves[row]$time <= day))
    put(key, paste("error", day), curves[row]$std.err[last])
  }
}
fit <- coxph(Surv(week, arrest) ~ fin + age + prio, read.csv(inputs[2]))
curves <- survfit(fit, newdata = data.frame(fin = c(1, 0), age = c(20, 35), prio = c(3, 0)), conf.type = "log-log")
for (row in 1:2) for (week in c(26, 52)) {
  at <- summary(curves[row], times = week)
  key <- paste("rossi", c("aid", "none")[row], week)
  put(key, "estimate", 1 - at$surv); put(key, "low", 1 - at$upper); put(key, "high", 1 - at$lower); put(key, "std_error", at$std.err)
}
write_values("survival_predict", inputs, "survival")
