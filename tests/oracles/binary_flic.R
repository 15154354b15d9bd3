# Firth's logistic regression with intercept correction (Puhr et al. 2017): modified scores by
# Newton's method, then glm of the intercept with the rest as offset; standardised risks with it.
# Run in this folder: Rscript binary_flic.R [output.csv]. Base R alone.
source("lib/values.R")
inputs <- c("../../shared/published/birthwt.csv", "../../shared/published/endometrial.csv")
b <- read.csv(inputs[1]); e <- read.csv(inputs[2])
tight <- glm.control(epsilon = 1e-14, maxit = 100)
flic <- function(name, x, y, w, first) {
  one <- cbind(intercept = 1, x); beta <- c(qlogis(weighted.mean(y, w)), rep(0, ncol(x)))
  for (step in 1:2000) {
    mu <- plogis(drop(one %*% beta)); half <- one * sqrt(w * mu * (1 - mu))
    hat <- rowSums((half %*% solve(crossprod(half))) * half)
    move <- drop(solve(crossprod(half), crossprod(one, w * (y - mu) + hat * (0.5 - mu))))
    beta <- beta + move / 2
    if (max(abs(move)) < 1e-13) break
  }
  fixed <- drop(x %*% beta[-1])
  fit <- suppressWarnings(glm(y ~ 1, binomial, weights = w, offset = fixed, control = tight))
  put(name, "firth intercept", beta[1]); put(name, "intercept", coef(fit))
  beta[1] <- coef(fit); mu <- plogis(drop(one %*% beta))
  put(name, paste("se", colnames(one)), sqrt(diag(solve(crossprod(one * sqrt(w * mu * (1 - mu)))))))
  for (arm in 0:1) {
    there <- one; there[, first] <- arm
    put(name, paste("risk", arm), mean(plogis(there %*% beta)))
  }
}
flic("birthwt", as.matrix(b[, c("smoke", "age", "lwt")]), b$low, rep(1, nrow(b)), "smoke")
flic("birthwt weighted", as.matrix(b[, c("smoke", "age", "lwt")]), b$low, 1 + b$ftv / 2, "smoke")
flic("endometrial", as.matrix(e[, c("NV", "PI", "EH")]), e$HG, rep(1, nrow(e)), "NV")
write_values("binary_flic", inputs)
