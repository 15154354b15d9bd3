# Tests of each term of logistic models: likelihood ratio, Rao's score and Wald; Firth's penalised
# likelihood ratio with the penalty of the whole design, climbed by Newton's method.
# Run in this folder: Rscript binary_dropped_terms.R [output.csv]. Base R alone.
source("lib/values.R")
source("lib/climb.R")
inputs <- c("../../shared/published/birthwt.csv", "../../shared/published/endometrial.csv")
b <- read.csv(inputs[1]); b$race <- factor(b$race)
e <- read.csv(inputs[2])
tight <- glm.control(epsilon = 1e-14, maxit = 100)
knots <- quantile(b$lwt, c(.10, .50, .90), names = FALSE)
cubed <- function(t) pmax(b$lwt - t, 0)^3
b$bent <- (cubed(knots[1]) - cubed(knots[2]) * (knots[3] - knots[1]) / (knots[3] - knots[2]) +
  cubed(knots[3]) * (knots[2] - knots[1]) / (knots[3] - knots[2])) / (knots[3] - knots[1])^2
tests <- function(name, fit, blocks, w = rep(1, nrow(b))) {
  for (term in names(blocks)) {
    smaller <- update(fit, as.formula(paste(". ~ . -", paste(blocks[[term]], collapse = " - "))))
    put(name, paste(term, "likelihood ratio"), deviance(smaller) - deviance(fit))
    rao <- anova(smaller, fit, test = "Rao")
    put(name, paste(term, "score"), rao$Rao[2])
    at <- grep(paste0("^(", paste(blocks[[term]], collapse = "|"), ")"), names(coef(fit)))
    put(name, paste(term, "wald"), coef(fit)[at] %*% solve(vcov(fit)[at, at], coef(fit)[at]))
  }
}
tests("birthwt", glm(low ~ smoke + race + age + lwt + bent, binomial, b, control = tight),
      list(smoke = "smoke", race = "race", age = "age", lwt = c("lwt", "bent")))
w <- 1 + b$ftv
weighted <- suppressWarnings(
  glm(low ~ smoke + race + age, binomial, b, weights = w, control = tight))
suppressWarnings(tests("birthwt weighted", weighted, list(race = "race", age = "age")))
# drop1 of R itself on the model without a spline
plain <- glm(low ~ smoke + race + age, binomial, b, control = tight)
lrt <- drop1(plain, test = "LRT"); rao <- drop1(plain, test = "Rao")
for (term in c("smoke", "race", "age")) {
  put("drop1", paste(term, "likelihood ratio"), lrt[term, "LRT"])
  put("drop1", paste(term, "score"), rao[term, "Rao score"])
}
penalised <- function(x, y) function(beta) {
  eta <- drop(x %*% beta); mu <- plogis(eta)
  sum(y * eta - log1p(exp(eta))) +
    as.numeric(determinant(crossprod(x * sqrt(mu * (1 - mu))))$modulus) / 2
}
firth <- function(name, x, y, blocks) {
  x <- cbind(1, scale(x)); f <- penalised(x, y); start <- c(qlogis(mean(y)), rep(0, ncol(x) - 1))
  top <- climb(f, start)$value
  for (term in names(blocks)) {
    free <- setdiff(seq_len(ncol(x)), blocks[[term]] + 1)
    held <- function(beta) { all <- 0 * start; all[free] <- beta; f(all) }
    put(name, paste(term, "penalised"), 2 * (top - climb(held, start[free])$value))
  }
}
x <- model.matrix(~ smoke + race + age, b)[, -1]
firth("birthwt penalised", x, b$low, list(smoke = 1, race = 2:3, age = 4))
firth("endometrial penalised", as.matrix(e[, c("NV", "PI", "EH")]), e$HG, list(NV = 1, PI = 2, EH = 3))
# NV separates: its score test needs no fit with it.
without <- glm(HG ~ PI + EH, binomial, e, control = tight)
far <- suppressWarnings(glm(HG ~ NV + PI + EH, binomial, e))
put("endometrial", "NV score", anova(without, far, test = "Rao")$Rao[2])
write_values("binary_dropped_terms", inputs)
