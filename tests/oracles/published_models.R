# Values that the printed sources give too coarsely, or not at all, from the same published data.
# Run in this folder: Rscript published_models.R [output.csv]
source("lib/values.R")
inputs <- c("binary_respiratory.csv", "binary_nhefs.csv", "binary_bcg_controls.csv",
            "../../shared/published/birthwt.csv")
tight <- glm.control(epsilon = 1e-14, maxit = 100)

# 1 respiratory visits by patient: sandwich CR0, and with G / (G - 1) alone
visits <- read.csv(inputs[1])
start <- visits[visits$month == 0, ]
v <- visits[visits$month > 0, ]
v$baseline <- start$status[match(v$subject, start$subject)] == "good"
x <- cbind(1, v$centre == 2, v$treatment == "treatment", v$sex == "male", v$baseline, v$age)
y <- v$status == "good"
robust <- function(x, y, fit, w, cluster) {
  mu <- fitted(fit)
  bread <- solve(t(x) %*% (x * (w * mu * (1 - mu))))
  bread %*% crossprod(rowsum(x * (w * (y - mu)), cluster)) %*% bread
}
fit <- suppressWarnings(glm(y ~ x - 1, binomial, control = tight))
g <- length(unique(v$subject))
cr0 <- sqrt(diag(robust(x, y, fit, rep(1, length(y)), v$subject)))
put("respiratory", c("treatment CR0", "treatment G / (G - 1)"), cr0[3] * c(1, sqrt(g / (g - 1))))

# 2 stabilised weights of quitting, and the weighted model of death
d <- read.csv(inputs[2])
quitting <- glm(qsmk ~ sex + race + age + I(age^2) + factor(education) + smokeintensity +
  I(smokeintensity^2) + smokeyrs + I(smokeyrs^2) + factor(exercise) + factor(active) + wt71 +
  I(wt71^2), binomial, d, control = tight)
share <- mean(d$qsmk)
w <- ifelse(d$qsmk == 1, share / fitted(quitting), (1 - share) / (1 - fitted(quitting)))
put("nhefs", c("mean weight", "largest weight"), c(mean(w), max(w)))
death <- suppressWarnings(glm(death ~ qsmk, binomial, d, weights = w, control = tight))
error <- sqrt(robust(cbind(1, d$qsmk), d$death, death, w, seq_len(nrow(d)))[2, 2])
put("nhefs", c("odds ratio low", "odds ratio high"),
    exp(coef(death)[2] + c(-1, 1) * qnorm(0.975) * error))

# 3 spread of the BCG trials' control arms beyond chance: arcsine scale, 10 % winsorised
b <- read.csv(inputs[3])
n <- b$cpos + b$cneg
se <- 1 / (2 * sqrt(n))
z <- (asin(sqrt(b$cpos / n)) - asin(sqrt(sum(b$cpos) / sum(n)))) / se
inside <- pmin(pmax(z, quantile(z, 0.1)), quantile(z, 0.9))
phi <- mean(inside^2)
precision <- 1 / se^2
tau2 <- (length(z) * phi - (length(z) - 1)) / (sum(precision) - sum(precision^2) / sum(precision))
put("bcg controls", c("phi", "phi winsorised", "tau squared"), c(mean(z^2), phi, tau2))

# 4 low birth weight by weight and race
birth <- read.csv(inputs[4])
small <- glm(low ~ lwt + factor(race), binomial, birth, control = tight)
put("birthwt", c("intercept", "lwt", "race2", "race3"), coef(small))
put("birthwt", "log likelihood", as.numeric(logLik(small)))
put("birthwt", paste("knot", 1:4), quantile(birth$lwt, c(0.05, 0.35, 0.65, 0.95)))

write_values("published_models", inputs)
