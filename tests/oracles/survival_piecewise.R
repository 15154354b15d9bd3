# Piecewise-exponential models: Poisson models of rows split at the cuts; of intervals between
# common visits, binomial models with complementary log-log link of one row a piece; and survreg.
# Run in this folder: Rscript survival_piecewise.R [output.csv]
source("lib/values.R")
suppressMessages(library(survival))
inputs <- c("survival_tied.csv", "../../shared/published/bcos.csv", "../../shared/published/survival_lung.csv")
d <- read.csv(inputs[1])
d$event <- as.numeric(d$state == 1)
d$x3 <- d$x3 - 2020  # a year: the cross product of the design would lose its digits
tight <- glm.control(epsilon = 1e-15, maxit = 100)
keep <- function(group, fit, pieces, errors) {
  names <- c(paste("piece", seq_len(pieces)), names(coef(fit))[-seq_len(pieces)])
  put(group, paste("coefficient", names), coef(fit))
  put(group, paste("error", names), errors)
}
# Errors at the estimate, not at the step before it as vcov() has them; the sandwich by cluster.
errors_of <- function(fit, weight, link, cluster = NULL) {
  x <- model.matrix(fit); y <- fit$y; mu <- fitted(fit)
  if (link == "log") { score <- weight * (y - mu); w <- weight * mu }
  else { h <- -log1p(-mu); score <- h * (y - mu) / mu; w <- h^2 * (1 - mu) / mu }
  bread <- solve(crossprod(x, x * w))
  if (is.null(cluster)) return(sqrt(diag(bread)))
  sums <- rowsum(x * score, cluster)
  sqrt(diag(bread %*% crossprod(sums) %*% bread))
}
cuts <- c(42, 91, 182)
kinds <- list("right-censored" = list(entry = FALSE, weighted = FALSE, robust = FALSE),
              "by animal" = list(entry = FALSE, weighted = FALSE, robust = TRUE),
              "late entry and weights by animal" = list(entry = TRUE, weighted = TRUE, robust = TRUE))
for (name in names(kinds)) {
  kind <- kinds[[name]]
  d$start <- if (kind$entry) d$entry else 0
  split <- survSplit(Surv(start, time, event) ~ ., d, cut = cuts, episode = "piece")
  split$days <- split$time - split$start
  weight <- if (kind$weighted) split$weight else rep(1, nrow(split))
  split$case <- weight
  fit <- suppressWarnings(glm(event ~ 0 + factor(piece) + x1 + x2 + x3 + offset(log(days)), poisson, split,
                              weights = case, control = tight))
  keep(name, fit, length(unique(split$piece)), errors_of(fit, weight, "log", if (kind$robust) split$animal))
  eta <- predict(fit) - log(split$days)
  put(name, "log likelihood", sum(weight * (split$event * eta - exp(eta) * split$days)))
}
# Lung cancer, every 200 days, in R's own table of Poisson regression.
l <- read.csv(inputs[3])
l <- l[!is.na(l$ph.ecog), ]
l$event <- l$status - 1
s <- survSplit(Surv(time, event) ~ age + sex + ph.ecog, l, cut = c(200, 400), episode = "piece")
s$days <- s$time - s$tstart
fit <- glm(event ~ 0 + factor(piece) + age + sex + ph.ecog + offset(log(days)), poisson, s, control = tight)
keep("lung", fit, 3, errors_of(fit, rep(1, nrow(s)), "log"))
# Intervals that begin and end at visits on common days: one row for each interval looked at.
visits <- c(56, 112, 182)
# Visits without the event: before its day, or up to the day of leaving without it.
d$last <- ifelse(d$event == 1, findInterval(d$time, visits, left.open = TRUE), findInterval(d$time, visits))
d$seen <- ifelse(d$event == 1, pmin(d$last + 1, 4), d$last)
p <- do.call(rbind, lapply(which(d$seen > 0 & !(d$event == 1 & d$last > 2)), function(i)
  data.frame(animal = d$animal[i], x1 = d$x1[i], x2 = d$x2[i], x3 = d$x3[i], piece = seq_len(d$seen[i]),
             y = as.numeric(d$event[i] == 1 & seq_len(d$seen[i]) == d$last[i] + 1))))
fit <- glm(y ~ 0 + factor(piece) + x1 + x2 + x3, binomial("cloglog"), p, control = tight)
length_of <- diff(c(0, visits))
put("visits", paste("log rate", 1:3), coef(fit)[1:3] - log(length_of))
put("visits", paste("coefficient", c("x1", "x2", "x3")), coef(fit)[4:6])
score_info <- function(cluster = NULL) {
  x <- model.matrix(fit); h <- exp(predict(fit)); mu <- -expm1(-h)
  slope <- function(h) h * exp(-h) / -expm1(-h)                      # of log(1 - exp(-h)) by log h
  one <- p$y == 1
  score <- ifelse(one, slope(h), -h)
  bend <- ifelse(one, slope(h) * (1 - h - slope(h)), -h)             # observed, as ours
  bread <- solve(-crossprod(x, x * bend))
  if (is.null(cluster)) return(sqrt(diag(bread)))
  sqrt(diag(bread %*% crossprod(rowsum(x * score, cluster)) %*% bread))
}
put("visits", paste("error", c(paste("piece", 1:3), "x1", "x2", "x3")), score_info())
put("visits", paste("robust error", c(paste("piece", 1:3), "x1", "x2", "x3")), score_info(p$animal))
put("visits", "log likelihood", as.numeric(logLik(fit)))
# One piece is the exponential model.
b <- read.csv(inputs[2])
b$left[b$left == 0] <- NA
b$arm <- as.numeric(b$treatment == "RadChem")
e <- survreg(Surv(left, right, type = "interval2") ~ arm, b, dist = "exponential",
             control = list(rel.tolerance = 1e-14, maxiter = 200))
put("bcos one piece", c("log rate", "coefficient arm"), -coef(e))
put("bcos one piece", paste("error", c("log rate", "arm")), sqrt(diag(e$var)))
put("bcos one piece", paste("log likelihood", c("null", "fit")), e$loglik)
write_values("survival_piecewise", inputs, "survival")
