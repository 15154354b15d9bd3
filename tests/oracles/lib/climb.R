# Newton's method on a log likelihood, its derivatives by five-point differences of second order.
derivatives <- function(f, at, h = 2e-3) {
  p <- length(at); unit <- diag(p); slope <- numeric(p); bend <- matrix(0, p, p)
  w <- c(1, -8, 8, -1) / 12; s <- c(-2, -1, 1, 2)
  for (i in 1:p) slope[i] <- sum(w * sapply(s, function(k) f(at + k * h * unit[, i]))) / h
  for (i in 1:p) for (j in i:p) {
    value <- if (i == j) sum(c(-1, 16, -30, 16, -1) / 12 * sapply(-2:2, function(k) f(at + k * h * unit[, i]))) / h^2
      else sum(outer(w, w) * outer(s, s, Vectorize(function(k, l) f(at + k * h * unit[, i] + l * h * unit[, j])))) / h^2
    bend[i, j] <- bend[j, i] <- value
  }
  list(slope = slope, information = -bend)
}
climb <- function(f, start) {
  at <- optim(start, function(x) -f(x), method = "BFGS", control = list(reltol = 1e-14, maxit = 2000))$par
  for (step in 1:8) { d <- derivatives(f, at); at <- at + solve(d$information, d$slope) }
  list(at = at, value = f(at), se = sqrt(diag(solve(derivatives(f, at)$information))))
}
