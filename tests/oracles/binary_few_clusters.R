# Bias-reduced (CR2) cluster variance and Satterthwaite's df of logistic models, whole matrices.
# Run in this folder: Rscript binary_few_clusters.R [output.csv]. Base R alone.
source("lib/values.R")
inputs <- c("../../shared/published/birthwt.csv", "binary_respiratory.csv")
b <- read.csv("../../shared/published/birthwt.csv")
r <- read.csv("binary_respiratory.csv")
tight <- glm.control(epsilon = 1e-14, maxit = 100)
power <- function(m, k) {
  e <- eigen(m, symmetric = TRUE); keep <- e$values > 1e-10
  v <- e$vectors[, keep, drop = FALSE]
  v %*% (e$values[keep]^k * t(v))
}
reduced <- function(name, fit, cluster) {
  x <- model.matrix(fit); mu <- fitted(fit); root <- sqrt(mu * (1 - mu))
  xt <- x * root; et <- (fit$y - mu) / root
  m <- solve(t(xt) %*% xt); n <- nrow(x); left <- diag(n) - xt %*% m %*% t(xt)
  groups <- split(seq_len(n), cluster); meat <- 0; parts <- list()
  for (g in names(groups)) {
    at <- groups[[g]]; a <- power(left[at, at, drop = FALSE], -1 / 2)
    s <- t(xt[at, , drop = FALSE]) %*% a %*% et[at]
    meat <- meat + s %*% t(s)
    parts[[g]] <- left[, at, drop = FALSE] %*% a %*% xt[at, , drop = FALSE] %*% m
  }
  terms <- colnames(x); terms[1] <- "intercept"
  put(name, paste("se", terms), sqrt(diag(m %*% meat %*% m)))
  for (j in seq_along(terms)) {
    p <- sapply(parts, function(one) one[, j]); cross <- t(p) %*% p
    put(name, paste("df", terms[j]), sum(diag(cross))^2 / sum(cross^2))
  }
}
model <- glm(low ~ smoke + age + lwt + ht, binomial, b, control = tight)
reduced("birthwt by age", model, b$age)
reduced("birthwt by visits", model, b$ftv)
reduced("birthwt within race", glm(low ~ smoke + lwt + factor(race), binomial, b, control = tight), b$race)
r <- r[r$month > 0, ]
reduced("respiratory", glm(I(status == "good") ~ I(treatment == "treatment") + age + I(sex == "male"),
                           binomial, r, control = tight), r$subject)
write_values("binary_few_clusters", inputs)
