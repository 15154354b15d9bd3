# Residuals of coxph, influence by row and animal, and the smooth of plot.cox.zph with its band, by
# row, on tied invented data. Run in this folder: Rscript survival_residuals.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
library(splines)
input <- "survival_tied.csv"
d <- read.csv(input)
d$event <- as.integer(d$state == 1)
terms <- c("x1", "x2", "x3")
models <- list(plain = "", late = "late", stratified = "+ strata(stratum)", weighted = "weighted")
chosen <- c(1, 5, 17, 40, 77)
for (ties in c("efron", "breslow")) for (name in names(models)) {
  key <- paste(ties, name)
  left <- if (name == "late") "Surv(entry, time, event)" else "Surv(time, event)"
  also <- if (name == "stratified") models[[name]] else ""
  d$w <- if (name == "weighted") d$weight else 1
  fit <- coxph(as.formula(paste(left, "~ x1 + x2 + x3", also)), d, weights = w, ties = ties, x = TRUE)
  m <- residuals(fit, type = "martingale"); v <- residuals(fit, type = "deviance")
  s <- residuals(fit, type = "score"); b <- residuals(fit, type = "dfbeta")
  a <- residuals(fit, type = "dfbeta", collapse = d$animal)
  for (i in chosen) {
    put(key, paste("martingale", i), m[i]); put(key, paste("deviance", i), v[i])
    for (j in 1:3) { put(key, paste("score", i, terms[j]), s[i, j]); put(key, paste("dfbeta", i, terms[j]), b[i, j]) }
  }
  put(key, "martingale squares", sum(m^2)); put(key, "deviance squares", sum(v^2))
  for (j in 1:3) {
    put(key, paste("score squares", terms[j]), sum(s[, j]^2))
    put(key, paste("dfbeta squares", terms[j]), sum(b[, j]^2))
    put(key, paste("dfbeta by animal squares", terms[j]), sum(a[, j]^2))
  }
  if (name == "weighted") next
  h <- residuals(fit, type = "schoenfeld"); k <- residuals(fit, type = "scaledsch")
  for (j in 1:3) {
    put(key, paste("schoenfeld squares", terms[j]), sum(h[, j]^2))
    put(key, paste("scaled squares", terms[j]), sum(k[, j]^2))
    put(key, paste("scaled first", terms[j]), k[1, j]); put(key, paste("scaled last", terms[j]), k[nrow(k), j])
  }
  if (name != "plain") next
  for (transform in c("km", "identity", "rank", "log")) {
    z <- cox.zph(fit, transform = transform)
    at <- seq(min(z$x), max(z$x), length = 5)  # as in plot.cox.zph, which draws and returns nothing
    both <- ns(c(at, z$x), df = 4, intercept = TRUE)
    drawn <- both[1:5, ]; own <- both[-(1:5), ]
    inverse <- solve(crossprod(own))
    put(paste(key, transform), paste("x", 1:5), at)
    for (j in 1:3) {
      put(paste(key, transform), paste("y", terms[j], 1:5), drawn %*% (inverse %*% crossprod(own, z$y[, j])))
      put(paste(key, transform), paste("error", terms[j], 1:5), sqrt(z$var[j, j] * rowSums((drawn %*% inverse) * drawn)))
    }
  }
}
write_values("survival_residuals", input, "survival")
