# The curve of a number in a logistic model with a random intercept: restricted cubic spline of
# four knots written out, lme4's adaptive quadrature, odds ratios against the median.
# Run in this folder: Rscript binary_learning_curve.R [output.csv]
source("lib/values.R")
suppressMessages(library(lme4))
inputs <- "binary_respiratory.csv"
d <- read.csv(inputs[1])
d$good <- as.numeric(d$status == "good")
d$treated <- as.numeric(d$treatment != "placebo")
knots <- quantile(d$age, c(0.05, 0.35, 0.65, 0.95))
curve <- function(x) {
  cut <- function(at) pmax(x - at, 0)^3
  last <- knots[3:4]
  cbind(x, sapply(1:2, function(j) (cut(knots[j]) - cut(last[1]) * (last[2] - knots[j]) / diff(last) +
                                    cut(last[2]) * (last[1] - knots[j]) / diff(last)) / (knots[4] - knots[1])^2))
}
centre <- mean(d$age)
basis <- curve(d$age)
spread <- apply(basis, 2, sd)
z <- sweep(basis, 2, spread, "/")
z[, 1] <- z[, 1] - centre / spread[1]
fit <- glmer(good ~ z + treated + (1 | subject), data.frame(d, z = I(z)), binomial, nAGQ = 25,
             control = glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5)))
ends <- quantile(d$age, c(0.01, 0.5, 0.99))
at <- seq(ends[1], ends[3], length.out = 41)[c(1, 8, 15, 22, 29, 36, 41)]
apart <- curve(at) - curve(rep(ends[2], 7))
apart <- sweep(apart, 2, spread, "/")
put("ages", paste("place", 1:7), at)
put("log odds ratio", paste("place", 1:7), apart %*% fixef(fit)[2:4])
v <- as.matrix(vcov(fit))[2:4, 2:4]
put("error", paste("place", 1:7), sqrt(diag(apart %*% v %*% t(apart))))
put("fit", "sd of intercepts", sqrt(VarCorr(fit)$subject[1, 1]))
write_values("binary_learning_curve", inputs, "lme4")
