# Estimating equations from their definition: correlation from pairs less coefficients, sandwich without a
# factor, and Mancl and DeRouen's bias-reduced errors. geepack (binary_clustered.R) divides by all pairs.
# Run in this folder: Rscript binary_gee.R [output.csv]
source("lib/values.R")
inputs <- c("../../shared/published/cbpp.csv", "../../shared/published/respiratory.csv", "binary_ohio.csv")
cbpp <- read.csv(inputs[1]); cbpp$period <- factor(cbpp$period)
r <- read.csv(inputs[2]); ohio <- read.csv(inputs[3])
gee <- function(name, x, y, id) {
  p <- ncol(x); sets <- split(seq_along(y), id)
  beta <- coef(glm(y ~ x - 1, binomial, control = glm.control(epsilon = 1e-14)))
  pairs <- sum(sapply(sets, function(s) length(s) * (length(s) - 1) / 2))
  pieces <- function(beta) {
    mu <- plogis(as.vector(x %*% beta)); e <- (y - mu) / sqrt(mu * (1 - mu))
    phi <- sum(e^2) / (length(y) - p)
    alpha <- sum(sapply(sets, function(s) (sum(e[s])^2 - sum(e[s]^2)) / 2)) / phi / (pairs - p)
    parts <- lapply(sets, function(s) {
      a <- sqrt(mu[s] * (1 - mu[s])); d <- x[s, , drop = FALSE] * a^2
      v <- outer(a, a) * (diag(1 - alpha, length(s)) + alpha)
      list(d = d, vi = solve(v), e = y[s] - mu[s])
    })
    list(parts = parts, alpha = alpha)
  }
  for (i in 1:200) {
    now <- pieces(beta)
    bread <- Reduce(`+`, lapply(now$parts, function(q) t(q$d) %*% q$vi %*% q$d))
    step <- solve(bread, Reduce(`+`, lapply(now$parts, function(q) t(q$d) %*% q$vi %*% q$e)))
    beta <- beta + as.vector(step)
    if (max(abs(step)) < 1e-13) break
  }
  now <- pieces(beta)
  b <- solve(Reduce(`+`, lapply(now$parts, function(q) t(q$d) %*% q$vi %*% q$d)))
  meat <- function(reduced) Reduce(`+`, lapply(now$parts, function(q) {
    e <- if (reduced) solve(diag(length(q$e)) - q$d %*% b %*% t(q$d) %*% q$vi, q$e) else q$e
    u <- t(q$d) %*% q$vi %*% e
    u %*% t(u)
  }))
  terms <- colnames(x)
  put(name, terms, beta)
  put(paste(name, "robust se"), terms, sqrt(diag(b %*% meat(FALSE) %*% b)))
  put(paste(name, "reduced se"), terms, sqrt(diag(b %*% meat(TRUE) %*% b)))
  put(name, "alpha", now$alpha)
}
gee("cbpp", model.matrix(~ period, cbpp), cbpp$ill, cbpp$herd)
gee("respiratory", model.matrix(~ centre + treatment + male + baseline + age, r), r$good, r$subject)
gee("ohio", model.matrix(~ age + smoke, ohio), ohio$resp, ohio$id)
write_values("binary_gee", inputs)
