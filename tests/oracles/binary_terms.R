# Terms of a logistic model: interactions in strata, splines as curves, scaling, collinearity, profiles.
# Run in this folder: Rscript binary_terms.R [output.csv]. Base R alone.
source("lib/values.R")
inputs <- c("binary_longley.csv", "../../shared/published/birthwt.csv")
tight <- glm.control(epsilon = 1e-14, maxit = 100)
b <- read.csv("../../shared/published/birthwt.csv")
b$race <- factor(b$race)
# vcov() is that of the step before the last: here at the estimate itself
covariance <- function(fit) {
  x <- model.matrix(fit); mu <- fitted(fit); solve(t(x) %*% (x * mu * (1 - mu)))
}
robust <- function(fit, cluster) {
  x <- model.matrix(fit); bread <- covariance(fit)
  scores <- rowsum(x * (fit$y - fitted(fit)), cluster); g <- nrow(scores); n <- nrow(x); p <- ncol(x)
  bread %*% t(scores) %*% scores %*% bread * g / (g - 1) * (n - 1) / (n - p)
}
effect <- function(group, name, difference, beta, v) {
  value <- sum(difference * beta); se <- sqrt(drop(t(difference) %*% v %*% difference))
  put(group, paste(name, c("ratio", "se", "low", "high")),
      c(exp(value), se, exp(value + qnorm(c(0.025, 0.975)) * se)))
}
zero <- function(fit) setNames(numeric(length(coef(fit))), names(coef(fit)))

# 1 smoking by race, and by weight centred at 130 per 10 pounds
fit <- glm(low ~ smoke * race + age, binomial, b, control = tight)
plain <- glm(low ~ smoke + race + age, binomial, b, control = tight)
for (level in c("1", "2", "3")) {
  d <- zero(fit); d["smoke"] <- 1
  if (level != "1") d[paste0("smoke:race", level)] <- 1
  effect("smoke by race", level, d, coef(fit), covariance(fit))
  effect("smoke by race robust", level, d, coef(fit), robust(fit, b$age))
}
both <- grep("^smoke:", names(coef(fit)))
put("smoke by race", c("wald", "likelihood ratio"), c(
  drop(t(coef(fit)[both]) %*% solve(covariance(fit)[both, both]) %*% coef(fit)[both]),
  2 * as.numeric(logLik(fit) - logLik(plain))))
b$heavy <- (b$lwt - 130) / 10
fit <- glm(low ~ smoke * heavy, binomial, b, control = tight)
for (weight in quantile(b$lwt, c(0.25, 0.5, 0.75))) {
  d <- zero(fit); d["smoke"] <- 1; d["smoke:heavy"] <- (weight - 130) / 10
  effect("smoke by weight", format(weight), d, coef(fit), covariance(fit))
}
put("smoke by weight", names(coef(fit)), coef(fit))

# 2 a spline of weight with 4 knots: ratios against the median; a ratio per doubling
rcs <- function(x, k) {
  last <- length(k); cubed <- function(t) pmax(x - t, 0)^3
  cbind(x, sapply(1:(last - 2), function(j) (cubed(k[j]) - cubed(k[last - 1]) * (k[last] - k[j]) /
    (k[last] - k[last - 1]) + cubed(k[last]) * (k[last - 1] - k[j]) / (k[last] - k[last - 1])) /
    (k[last] - k[1])^2))
}
knots <- quantile(b$lwt, c(0.05, 0.35, 0.65, 0.95))
curve <- glm(b$low ~ rcs(b$lwt, knots) + b$smoke, binomial, control = tight)
for (weight in c(90, 110, 150, 220)) {
  pair <- rcs(c(weight, median(b$lwt)), knots)
  d <- c(0, pair[1, ] - pair[2, ], 0)
  effect("curve", format(weight), d, coef(curve), covariance(curve))
}
put("doubling", "ratio", exp(coef(glm(low ~ log2(lwt), binomial, b, control = tight))[2]))

# 3 risks of named mothers, averaged over the other terms, with delta limits on the logit scale
fit <- glm(low ~ smoke + race + age, binomial, b, control = tight)
for (years in c(18, 30)) {
  set <- transform(b, age = years, smoke = 1)
  x <- model.matrix(~ smoke + race + age, set); p <- drop(plogis(x %*% coef(fit)))
  g <- colMeans(x * p * (1 - p)); risk <- mean(p)
  half <- qnorm(0.975) * sqrt(drop(t(g) %*% covariance(fit) %*% g)) / (risk * (1 - risk))
  put("profile", paste("smoker of", years, c("risk", "low", "high")),
      c(risk, plogis(qlogis(risk) + c(-half, half))))
}

# 4 collinearity
x <- as.matrix(read.csv("binary_longley.csv")[, c("GNP.deflator", "GNP", "Unemployed", "Armed.Forces",
                                                   "Population", "Year")])
put("longley", paste("vif", colnames(x)), diag(solve(cor(x))))
scaled <- apply(cbind(1, x), 2, function(column) column / sqrt(sum(column^2)))
put("longley", "condition", kappa(scaled, exact = TRUE))
x <- model.matrix(~ smoke + race + age + lwt, b)[, -1]
r <- cor(x); race <- 2:3
put("birthwt", "gvif race", det(r[race, race]) * det(r[-race, -race]) / det(r))
put("birthwt", "vif smoke", 1 / (1 - summary(lm(x[, "smoke"] ~ x[, colnames(x) != "smoke"]))$r.squared))
write_values("binary_terms", inputs)
