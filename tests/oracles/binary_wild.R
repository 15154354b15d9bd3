# Wild bootstrap of cluster scores (Kline and Santos 2012) of logistic models: the restricted fit by
# glm with an offset, all sign vectors, limits by halving. Run in this folder: Rscript binary_wild.R
source("lib/values.R")
inputs <- "../../shared/published/birthwt.csv"
b <- read.csv(inputs)
tight <- glm.control(epsilon = 1e-14, maxit = 100)
wild <- function(name, x, y, cluster) {
  g <- length(unique(cluster))
  signs <- as.matrix(expand.grid(rep(list(c(-1, 1)), g)))
  full <- glm(y ~ x, binomial, control = tight)
  one <- cbind(1, x)
  for (j in seq_len(ncol(x)) + 1) {
    test <- function(value) {
      held <- glm.fit(one[, -j], y, offset = one[, j] * value, family = binomial(), control = tight)
      mu <- held$fitted.values
      u <- rowsum(drop(one %*% solve(crossprod(one * sqrt(mu * (1 - mu))))[, j]) * (y - mu), cluster)
      t <- sum(u) / sqrt(sum(u^2))
      c(t, mean(abs(signs %*% u) / sqrt(sum(u^2)) >= abs(t) * (1 - 1e-9)))
    }
    se <- sqrt(vcov(full)[j, j]); middle <- coef(full)[j]
    limit <- function(way) {
      inside <- middle; outside <- middle + way * se
      while (test(outside)[2] >= 0.05) {
        inside <- outside; outside <- outside + way * se
        if (abs(outside - middle) > 20 * se) return(NA)
      }
      for (k in 1:50) { half <- (inside + outside) / 2
        if (test(half)[2] < 0.05) outside <- half else inside <- half }
      inside
    }
    term <- colnames(x)[j - 1]
    put(name, paste(term, "statistic"), test(0)[1]); put(name, paste(term, "p"), test(0)[2])
    put(name, paste(term, "p at 1"), test(1)[2])
    for (way in c(-1, 1)) {
      found <- limit(way)
      if (!is.na(found)) put(name, paste(term, if (way < 0) "low" else "high"), found)
    }
  }
}
b$lwt <- b$lwt / 50
x <- as.matrix(b[, c("smoke", "lwt", "ht")])
wild("by visits", x, b$low, b$ftv)
wild("by age band", x, b$low, cut(b$age, c(0, 17, 19, 20, 21, 22, 24, 25, 28, 50)))
wild("by race", x[, 1:2], b$low, b$race)
write_values("binary_wild", inputs)
