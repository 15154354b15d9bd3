# Reference values for logistic, Firth, standardised and descriptive methods, by base R alone.
# Run in this folder: Rscript binary_models.R [output.csv]
# Firth here is the definition itself: the penalised likelihood maximised by optim and profiled by uniroot.
source("lib/values.R")
source_file <- "../../shared/published/birthwt.csv"
b <- read.csv(source_file)
b$black <- as.numeric(b$race == 2); b$other <- as.numeric(b$race == 3)
tight <- glm.control(epsilon = 1e-14, maxit = 100)
terms <- c("smoke", "age", "lwt", "black", "other")
x <- cbind(1, as.matrix(b[, terms]))
colnames(x) <- c("intercept", terms)
y <- b$low

# 1 maximum likelihood, sandwich by the mother's age as an arbitrary cluster, weights
fit <- glm(low ~ smoke + age + lwt + black + other, binomial, b, control = tight)
put("ml", colnames(x), coef(fit))
mu <- fitted(fit)
bread <- solve(t(x) %*% (x * mu * (1 - mu)))
put("ml se", colnames(x), sqrt(diag(bread)))
scores <- rowsum(x * (y - mu), b$age)
g <- nrow(scores); n <- nrow(x); p <- ncol(x)
cr0 <- bread %*% t(scores) %*% scores %*% bread
put("cr0 se", colnames(x), sqrt(diag(cr0)))
put("cr1 se", colnames(x), sqrt(diag(cr0 * g / (g - 1) * (n - 1) / (n - p))))
put("ml", "log likelihood", as.numeric(logLik(fit)))
w <- 1 + b$ftv / 2
weighted <- suppressWarnings(
  glm(low ~ smoke + age + lwt + black + other, binomial, b, weights = w, control = tight))
put("weighted", colnames(x), coef(weighted))

# 2 profile limits of the likelihood
profile_root <- function(column, target) {
  rest <- x[, colnames(x) != column]
  held <- function(value) as.numeric(logLik(
    glm.fit2(rest, y, x[, column] * value)))
  top <- as.numeric(logLik(fit))
  se <- sqrt(diag(bread))[column]; middle <- coef(fit)[column]
  off <- function(value) 2 * (top - held(value)) - target
  c(uniroot(off, c(middle - 6 * se, middle), tol = 1e-12)$root,
    uniroot(off, c(middle, middle + 6 * se), tol = 1e-12)$root)
}
glm.fit2 <- function(rest, y, offset) glm(y ~ rest - 1, binomial, offset = offset, control = tight)
names(fit$coefficients) <- colnames(x); dimnames(bread) <- list(colnames(x), colnames(x))
for (column in c("smoke", "lwt"))
  put("profile", paste(column, c("low", "high")), profile_root(column, qchisq(0.95, 1)))

# 3 Firth: maximise l + log det I / 2
penalised <- function(beta, w = rep(1, length(y))) {
  eta <- x %*% beta
  mu <- as.vector(plogis(eta))
  information <- t(x) %*% (x * (w * mu * (1 - mu)))
  sum(w * (y * eta - log1p(exp(eta)))) + as.numeric(determinant(information)$modulus) / 2
}
climb <- function(start, free, w) {
  scale <- apply(x, 2, sd); scale[1] <- 1
  value <- function(z) { beta <- start; beta[free] <- z / scale[free]; -penalised(beta, w) }
  z <- start[free] * scale[free]
  for (i in 1:8) z <- optim(z, value, method = "BFGS", control = list(reltol = 1e-16, maxit = 1000,
    ndeps = rep(1e-5, length(z))))$par
  start[free] <- z / scale[free]
  list(beta = start, top = penalised(start, w))
}
for (case in c("firth", "firth weighted")) {
  cw <- if (case == "firth") rep(1, n) else w
  all_free <- rep(TRUE, p)
  full <- climb(unname(coef(fit)), all_free, cw)
  put(case, colnames(x), full$beta)
  put(case, "penalised log likelihood", full$top)
  for (column in c("smoke", "lwt")) {
    place <- which(colnames(x) == column)
    free <- all_free; free[place] <- FALSE
    drop <- function(value) {
      start <- full$beta; start[place] <- value
      2 * (full$top - climb(start, free, cw)$top)
    }
    se <- sqrt(diag(bread))[place]; middle <- full$beta[place]; target <- qchisq(0.95, 1)
    put(case, paste(column, "low"),
        uniroot(function(v) drop(v) - target, middle - c(3.5, 1) * se, tol = 1e-9)$root)
    put(case, paste(column, "high"),
        uniroot(function(v) drop(v) - target, middle + c(1, 3.5) * se, tol = 1e-9)$root)
    put(case, paste(column, "chi-square"), drop(0))
  }
}

# 4 g-computation over the 189 women, smoke set to 0 and 1; delta method with a numeric gradient
standard <- function(beta) {
  sapply(0:1, function(arm) { z <- x; z[, "smoke"] <- arm; mean(plogis(z %*% beta)) })
}
beta <- unname(coef(fit))
gradient <- sapply(seq_along(beta), function(j) {
  h <- 1e-5 * max(1, abs(beta[j])); up <- down <- beta; up[j] <- up[j] + h; down[j] <- down[j] - h
  (standard(up) - standard(down)) / (2 * h)
})
risks <- standard(beta)
cov <- gradient %*% bread %*% t(gradient)
put("standardised", c("risk 0", "risk 1", "difference", "log ratio"),
    c(risks, risks[2] - risks[1], log(risks[2] / risks[1])))
put("standardised se", c("risk 0", "risk 1"), sqrt(diag(cov)))
put("standardised se", "difference", sqrt(c(-1, 1) %*% cov %*% c(-1, 1)))
by_risk <- c(-1, 1) / risks
put("standardised se", "log ratio", sqrt(by_risk %*% cov %*% by_risk))

# 5 intervals and quantiles
for (k in list(c(0, 20), c(1, 29), c(15, 148), c(148, 148))) {
  put(paste(k, collapse = "/"), c("wilson low", "wilson high"),
      suppressWarnings(prop.test(k[1], k[2], correct = FALSE))$conf.int)
  put(paste(k, collapse = "/"), c("exact low", "exact high"), binom.test(k[1], k[2])$conf.int)
}
for (k in c(0, 1, 7, 40)) put(paste("poisson", k), c("low", "high"), poisson.test(k)$conf.int)
put("quartiles lwt", c("low", "median", "high"), quantile(b$lwt, c(0.25, 0.5, 0.75), type = 7))
smokers <- b[b$smoke == 1, ]; others <- b[b$smoke == 0, ]
put("smd", "lwt", (mean(smokers$lwt) - mean(others$lwt)) /
      sqrt((var(smokers$lwt) + var(others$lwt)) / 2))
share <- function(d) as.vector(table(factor(d$race, levels = 1:3)) / nrow(d))[-1]
s1 <- share(smokers); s0 <- share(others)
mean_cov <- (diag(s1) - outer(s1, s1) + diag(s0) - outer(s0, s0)) / 2
put("smd", "race", sqrt(t(s1 - s0) %*% solve(mean_cov) %*% (s1 - s0)))
put("design effect", "low by age", {
  by <- aggregate(cbind(y, one = 1) ~ b$age, FUN = sum)
  rate <- mean(y)
  (g / (g - 1) * sum((by$y - by$one * rate)^2) / n^2) / (rate * (1 - rate) / n)
})
for (e in c(0.7, 4, 25)) for (tail in c(0.025, 0.975, 0.001, 0.999)) {
  r <- qpois(tail, e)
  share_below <- (ppois(r, e) - tail) / (ppois(r, e) - ppois(r - 1, e))
  put(paste("funnel", e), paste(tail), max(0, r - share_below) / e)
}

write_values("binary_models", source_file)
