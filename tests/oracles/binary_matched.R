# Conditional logistic regression: matched sets of one and of several events.
# Run in this folder: Rscript binary_matched.R [output.csv].
source("lib/values.R")
library(survival)
inputs <- c("../../shared/published/infert.csv", "../../shared/published/birthwt.csv")
i <- read.csv("../../shared/published/infert.csv")
b <- read.csv("../../shared/published/birthwt.csv")
tight <- coxph.control(eps = 1e-14, toler.chol = 1e-15, iter.max = 100)
keep <- function(name, fit) {
  s <- summary(fit); terms <- names(coef(fit))
  put(name, paste("b", terms), coef(fit)); put(name, paste("se", terms), sqrt(diag(vcov(fit))))
  put(name, c("null", "log likelihood"), fit$loglik)
  put(name, c("lr", "wald", "score"), c(s$logtest[1], fit$wald.test, fit$score))
}
keep("both", clogit(case ~ spontaneous + induced + strata(stratum), i, method = "exact", control = tight))
keep("induced crude", clogit(case ~ factor(induced) + strata(stratum), i, method = "exact", control = tight))
keep("induced", clogit(case ~ factor(induced) + spontaneous + strata(stratum), i, method = "exact", control = tight))
# ages as sets: up to 18 rows and several events each
keep("ages", clogit(low ~ smoke + lwt + ht + strata(age), b, method = "exact", control = tight))
write_values("binary_matched", inputs, "survival")
