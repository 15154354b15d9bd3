# Exact conditional logistic regression: every set of rows that keeps the totals of the other terms
# is counted out (choices of the events one by one); fisher.test and mantelhaen.test beside it.
# Run in this folder: Rscript binary_exact.R [output.csv]. Base R alone.
source("lib/values.R")
exact <- function(name, ways, totals, seen) {
  put(name, "totals", length(totals))
  chance <- function(b) { h <- log(ways) + b * (totals - seen); h <- exp(h - max(h)); h / sum(h) }
  above <- function(b) sum(chance(b)[totals >= seen]); below <- function(b) sum(chance(b)[totals <= seen])
  root <- function(f) exp(uniroot(f, c(-30, 30), tol = 1e-13)$root)
  ends <- c(seen == min(totals), seen == max(totals))
  if (!any(ends)) put(name, "ratio", root(function(b) sum(chance(b) * totals) - seen))
  if (!ends[1]) put(name, "low", root(function(b) above(b) - 0.025))
  if (!ends[2]) put(name, "high", root(function(b) 0.025 - below(b)))
  half <- function(b) sum(chance(b)[totals > seen]) + 0.5 * chance(b)[totals == seen]
  put(name, "median unbiased", root(if (ends[1]) function(b) 0.5 - below(b)
    else if (ends[2]) function(b) above(b) - 0.5 else function(b) half(b) - 0.5))
  put(name, "twice", min(1, 2 * min(above(0), below(0))))
  put(name, "no likelier", sum(chance(0)[chance(0) <= chance(0)[totals == seen] * (1 + 1e-7)]))
}
# Every choice of as many rows as had the event: those with the same totals of the other columns.
enumerate <- function(name, own, others, y) {
  held <- cbind(others); wanted <- colSums(held * y)
  sets <- combn(length(y), sum(y))
  kept <- rep(TRUE, ncol(sets))
  for (j in seq_len(ncol(held)))
    kept <- kept & colSums(matrix(held[sets, j], nrow(sets))) == wanted[j]
  total <- colSums(matrix(own[sets], nrow(sets)))[kept]
  counted <- table(total)
  exact(name, as.numeric(counted), as.numeric(names(counted)), sum(own * y))
}
# 1 invented: 18 rows, an exposure, a factor of three levels and a grade of 1 to 3, additive
inputs <- c("binary_exact_rows.csv", "../../shared/published/rabbits.csv")
rows_of <- read.csv(inputs[1])
a <- rows_of$a; f <- rows_of$f; g <- rows_of$g; y <- rows_of$y
enumerate("additive exposure", a, cbind(f == 2, f == 3, g), y)
enumerate("additive grade", g, cbind(a, f == 2, f == 3), y)
empty <- ifelse(a == 1, y, 0)  # nobody without the exposure had the event
enumerate("empty cell", a, cbind(f == 2, f == 3), empty)
# 2 tables: fisher.test's ways are hypergeometric; its own answers are coarse (1e-4), p is exact
tables <- list(tea = c(3, 1, 1, 3), twins = c(2, 10, 15, 3), fagerland = c(7, 27, 1, 33))
for (name in names(tables)) {
  cell <- tables[[name]]; m <- cell[1] + cell[2]; n <- cell[3] + cell[4]; k <- cell[1] + cell[3]
  t <- max(0, k - n):min(k, m)
  exact(name, choose(m, t) * choose(n, k - t), t, cell[1])
  done <- fisher.test(matrix(cell, 2, byrow = TRUE))
  put(name, "fisher ratio", done$estimate); put(name, "fisher p", done$p.value)
}
# 3 penicillin and rabbits, R's own example of mantelhaen.test (Mantel 1963): cells by stratum
r <- read.csv(inputs[2])
rabbits <- table(factor(r$delay, c("none", "1.5 hours")), factor(r$cured, 1:0), r$dose)
rabbits <- rabbits[, , apply(rabbits, 3, sum) > 0]
done <- mantelhaen.test(rabbits, exact = TRUE)
put("rabbits", "ratio", done$estimate); put("rabbits", "p", done$p.value)
put("rabbits", "low", done$conf.int[1]); put("rabbits", "high", done$conf.int[2])
parts <- lapply(seq_len(dim(rabbits)[3]), function(s) {
  m <- sum(rabbits[1, , s]); n <- sum(rabbits[2, , s]); k <- sum(rabbits[, 1, s])
  t <- max(0, k - n):min(k, m); list(t = t, w = choose(m, t) * choose(n, k - t)) })
sum_of <- list(t = 0, w = 1)
for (part in parts) {
  t <- outer(sum_of$t, part$t, "+"); w <- outer(sum_of$w, part$w)
  w <- tapply(w, t, sum); sum_of <- list(t = as.numeric(names(w)), w = as.numeric(w)) }
exact("rabbits counted", sum_of$w, sum_of$t, sum(rabbits[1, 1, ]))
write_values("binary_exact", inputs)
