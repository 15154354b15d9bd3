# Two-by-two tables: Mantel-Haenszel over strata, evenness, matched pairs, exact and mid-p limits.
# Run in this folder: Rscript binary_tables.R [output.csv]. Base R alone.
source("lib/values.R")
inputs <- c("../../shared/published/birthwt.csv")
b <- read.csv("../../shared/published/birthwt.csv")

# 1 strata: cells a b / c d of each, exposed first
strata <- list(
  tolbutamide = array(c(8, 5, 98, 115, 22, 16, 76, 69), c(2, 2, 2)),
  birthwt = table(1 - b$smoke, 1 - b$low, b$race),
  ucb = aperm(UCBAdmissions, c(2, 1, 3)))
for (name in names(strata)) {
  x <- strata[[name]]
  plain <- mantelhaen.test(x, correct = FALSE); corrected <- mantelhaen.test(x)
  put(name, c("or", "or low", "or high"), c(plain$estimate, plain$conf.int))
  put(name, c("cmh", "cmh corrected"), c(plain$statistic, corrected$statistic))
  e <- x[1, 1, ]; f <- x[1, 2, ]; g <- x[2, 1, ]; h <- x[2, 2, ]; n <- e + f + g + h
  n1 <- e + f; n0 <- g + h; m1 <- e + g
  rr <- sum(e * n0 / n) / sum(g * n1 / n)
  v <- sum((m1 * n1 * n0 - e * g * n) / n^2) / (sum(e * n0 / n) * sum(g * n1 / n))
  put(name, c("rr", "rr se"), c(rr, sqrt(v)))
  w <- n1 * n0 / n; rd <- sum(w * (e / n1 - g / n0)) / sum(w)
  p <- sum((n1^2 * g - n0^2 * e + n1 * n0 * (n0 - n1) / 2) / n^2)
  q <- sum((e * (n0 - g) + g * (n1 - e)) / (2 * n))
  put(name, c("rd", "rd se"), c(rd, sqrt((rd * p + q) / sum(w)^2)))
  expected <- sapply(seq_along(e), function(i) uniroot(function(t)
    log(t * (n0[i] - m1[i] + t)) - log((m1[i] - t) * (n1[i] - t)) - log(plain$estimate),
    c(max(0, m1[i] - n0[i]) + 1e-9, min(n1[i], m1[i]) - 1e-9), tol = 1e-14)$root)
  variance <- 1 / (1 / expected + 1 / (n1 - expected) + 1 / (m1 - expected) + 1 / (n0 - m1 + expected))
  bd <- sum((e - expected)^2 / variance)
  put(name, c("breslow day", "tarone"), c(bd, bd - sum(e - expected)^2 / sum(variance)))
}

# 2 pairs: both, exposed only, reference only, neither
for (pairs in list(c(1, 1, 7, 12), c(59, 6, 16, 80), c(794, 86, 150, 570), c(0, 5, 2, 0))) {
  name <- paste(c("pairs", pairs), collapse = " ")
  x <- matrix(pairs, 2, byrow = TRUE)
  put(name, "mcnemar", mcnemar.test(x, correct = FALSE)$statistic)
  put(name, "mcnemar corrected", mcnemar.test(x)$statistic)
  k <- pairs[2]; m <- pairs[2] + pairs[3]
  exact <- binom.test(k, m)
  put(name, c("exact p", "mid p"), c(exact$p.value, exact$p.value - dbinom(k, m, 0.5)))
  put(name, c("or low", "or high"), exact$conf.int / (1 - exact$conf.int))
}

# 3 one table, exact: roots on the log scale, since fisher.test stops its search early
for (cells in list(c(7, 27, 1, 33), c(3, 1, 1, 3), c(2, 10, 15, 3), c(30, 44, 29, 86))) {
  name <- paste(c("table", cells), collapse = " ")
  m <- cells[1] + cells[2]; n <- cells[3] + cells[4]; k <- cells[1] + cells[3]
  x <- max(0, k - n):min(k, m)
  chance <- function(t) { w <- dhyper(x, m, n, k, log = TRUE) + t * x; w <- exp(w - max(w)); w / sum(w) }
  up <- function(t, s) sum(chance(t)[x > cells[1]]) + s * sum(chance(t)[x == cells[1]])
  root <- function(f) exp(uniroot(f, c(-20, 20), tol = 1e-14)$root)
  put(name, "or", root(function(t) sum(x * chance(t)) - cells[1]))
  put(name, c("low", "high"), c(root(function(t) up(t, 1) - 0.025), root(function(t) up(t, 0) - 0.975)))
  put(name, c("mid low", "mid high"),
      c(root(function(t) up(t, 0.5) - 0.025), root(function(t) up(t, 0.5) - 0.975)))
  put(name, "p", fisher.test(matrix(cells, 2, byrow = TRUE))$p.value)
  put(name, "mid p", 2 * min(up(0, 0.5), 1 - up(0, 0.5)))
}
write_values("binary_tables", inputs)
