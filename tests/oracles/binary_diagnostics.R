# How well a logistic model describes its rows: c-statistic, calibration, optimism, rows left out.
# Run in this folder: Rscript binary_diagnostics.R [output.csv]. Base R alone; each from its definition.
source("lib/values.R")
inputs <- c("../../shared/published/asah.csv", "binary_pima_tr.csv", "binary_pima_te.csv",
            "binary_resamples.csv",
            "../../shared/published/birthwt.csv")
tight <- glm.control(epsilon = 1e-14, maxit = 100)

# 1 c-statistic: all pairs; DeLong's variance, and Obuchowski's with ages as clusters
a <- read.csv("../../shared/published/asah.csv")
pairs_of <- function(score, y) outer(score[y == 1], score[y == 0],
                                     function(case, other) (case > other) + (case == other) / 2)
for (marker in c("s100b", "ndka", "wfns")) {
  score <- as.numeric(a[[marker]]); y <- a$outcome
  p <- pairs_of(score, y); area <- mean(p); m <- nrow(p); k <- ncol(p)
  variance <- var(rowMeans(p)) / m + var(colMeans(p)) / k
  put(marker, c("area", "se", "low", "high"),
      c(area, sqrt(variance), area + qnorm(c(0.025, 0.975)) * sqrt(variance)))
  case <- rowsum(rowMeans(p) - area, a$age[y == 1]); other <- rowsum(colMeans(p) - area, a$age[y == 0])
  both <- intersect(rownames(case), rownames(other)); clusters <- length(unique(a$age))
  s10 <- nrow(case) / ((nrow(case) - 1) * m) * sum(case^2)
  s01 <- nrow(other) / ((nrow(other) - 1) * k) * sum(other^2)
  s11 <- clusters / (clusters - 1) * sum(case[both, ] * other[both, ])
  put(marker, "clustered se", sqrt(s10 / m + s01 / k + 2 * s11 / (m * k)))
}

# 2 calibration of a model in other rows
train <- read.csv("binary_pima_tr.csv"); test <- read.csv("binary_pima_te.csv")
fit <- glm(I(type == "Yes") ~ npreg + glu + bp + skin + bmi + ped + age, binomial, train, control = tight)
linear <- predict(fit, test); risk <- plogis(linear); y <- as.numeric(test$type == "Yes")
put("pima", c("intercept", names(coef(fit))[-1]), coef(fit))
large <- glm(y ~ 1, binomial, offset = linear, control = tight)
slope <- glm(y ~ linear, binomial, control = tight)
put("pima", c("in the large", "in the large se"), summary(large)$coefficients[1, 1:2])
put("pima", c("slope", "slope se"), summary(slope)$coefficients[2, 1:2])
put("pima", c("area", "brier", "scaled brier"), c(mean(pairs_of(risk, y)), mean((risk - y)^2),
    1 - mean((risk - y)^2) / (mean(y) * (1 - mean(y)))))
weights <- 1 + test$npreg / 2
weighted <- suppressWarnings(glm(y ~ linear, binomial, weights = weights, control = tight))
put("pima", c("weighted slope", "weighted brier"),
    c(coef(weighted)[2], weighted.mean((risk - y)^2, weights)))
w <- outer(weights[y == 1], weights[y == 0])
put("pima", "weighted area", sum(w * pairs_of(risk, y)) / sum(w))
robust_se <- function(fit, x, cluster) {
  mu <- fitted(fit); bread <- solve(t(x) %*% (x * mu * (1 - mu)))
  scores <- rowsum(x * (y - mu), cluster); g <- nrow(scores); n <- nrow(x); p <- ncol(x)
  sqrt(diag(bread %*% t(scores) %*% scores %*% bread) * g / (g - 1) * (n - 1) / (n - p))
}
put("pima", "in the large robust se", robust_se(large, cbind(rep(1, length(y))), test$age))
put("pima", "slope robust se", robust_se(slope, cbind(1, linear), test$age)[2])
rcs <- function(x, k) {
  last <- length(k); cubed <- function(t) pmax(x - t, 0)^3
  cbind(x, sapply(1:(last - 2), function(j) (cubed(k[j]) - cubed(k[last - 1]) * (k[last] - k[j]) /
    (k[last] - k[last - 1]) + cubed(k[last]) * (k[last - 1] - k[j]) / (k[last] - k[last - 1])) /
    (k[last] - k[1])^2))
}
knots <- quantile(linear, c(0.05, 0.35, 0.65, 0.95))
curve <- glm(y ~ rcs(linear, knots), binomial, control = tight)
put("pima", c("mean distance", "largest distance"),
    c(mean(abs(fitted(curve) - risk)), max(abs(fitted(curve) - risk))))
at <- seq(quantile(linear, 0.01), quantile(linear, 0.99), length.out = 5)
design <- cbind(1, rcs(at, knots)); eta <- design %*% coef(curve)
x <- cbind(1, rcs(linear, knots)); mu <- fitted(curve)  # vcov() is that of the step before the last
error <- sqrt(diag(design %*% solve(t(x) %*% (x * mu * (1 - mu))) %*% t(design)))
for (j in 1:5) put("curve", paste(c("predicted", "observed", "low", "high"), j),
                   plogis(c(at[j], eta[j], eta[j] + qnorm(c(0.025, 0.975)) * error[j])))

# 3 optimism over fixed samples of rows
b <- read.csv("../../shared/published/birthwt.csv")
b$black <- as.numeric(b$race == 2); b$other <- as.numeric(b$race == 3)
model <- low ~ age + lwt + black + other + smoke + ptl + ht + ui
measures <- function(eta, y) c(mean(pairs_of(eta, y)), mean((plogis(eta) - y)^2),
                               coef(glm(y ~ eta, binomial, control = tight))[2])
refit <- function(rows) suppressWarnings(glm(model, binomial, b[rows, ], control = tight))
full <- refit(seq_len(nrow(b)))
apparent <- measures(predict(full), b$low)
samples <- as.matrix(read.csv("binary_resamples.csv", header = FALSE)) + 1
gaps <- apply(samples, 1, function(rows) {
  again <- refit(rows)
  measures(predict(again, b[rows, ]), b$low[rows]) - measures(predict(again, b), b$low)
})
put("optimism", c("area", "brier", "slope"), apparent)
put("optimism", paste(c("area", "brier", "slope"), "gap"), rowMeans(gaps))

# 4 without one group at a time: visits to a doctor as groups; then without one age at a time
group <- pmin(b$ftv, 3)
out <- numeric(nrow(b))
for (g in unique(group)) out[group == g] <- predict(refit(which(group != g)), b[group == g, ])
put("left out", c("area", "brier", "slope"), measures(out, b$low))
put("left out", "in the large", coef(glm(b$low ~ 1, binomial, offset = out, control = tight)))
for (g in sort(unique(group))) put("left out", paste("expected", g), sum(plogis(out[group == g])))
smoke <- sapply(sort(unique(b$age)), function(age) coef(refit(which(b$age != age)))["smoke"])
most <- order(-abs(smoke - coef(full)["smoke"]))[1:5]
put("influence", paste("age", 1:5), sort(unique(b$age))[most])
put("influence", paste("smoke", 1:5), smoke[most])
write_values("binary_diagnostics", inputs)
