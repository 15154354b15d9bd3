# Random intercepts (lme4) and estimating equations (geepack) for clustered yes/no outcomes.
# Run in this folder: Rscript binary_clustered.R [output.csv]
# The marginal likelihood of cbpp is also integrated herd by herd (integrate) and climbed with numeric
# derivatives, independent of any quadrature rule.
suppressPackageStartupMessages({ library(lme4); library(geepack) })
source("lib/values.R")
source("lib/climb.R")
inputs <- c("../../shared/published/cbpp.csv", "binary_respiratory.csv", "binary_ohio.csv")
cbpp <- read.csv(inputs[1]); cbpp$period <- factor(cbpp$period)
r <- read.csv(inputs[2]); ohio <- read.csv(inputs[3])
start <- r[r$month == 0, c("subject", "status")]
r <- merge(r[r$month > 0, ], setNames(start, c("subject", "baseline")))
r <- r[order(r$subject, r$month), ]
r$y <- as.numeric(r$status == "good"); r$centre <- as.numeric(r$centre == 2)
r$treatment <- as.numeric(r$treatment == "treatment"); r$male <- as.numeric(r$sex == "male")
r$baseline <- as.numeric(r$baseline == "good")

tight <- glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5))
mixed <- function(name, formula, data) {
  fit <- glmer(formula, data, binomial, nAGQ = 25, control = tight)
  put(name, names(fixef(fit)), fixef(fit))
  put(paste(name, "se"), names(fixef(fit)), sqrt(diag(as.matrix(vcov(fit)))))
  put(name, "spread", sqrt(as.numeric(VarCorr(fit)[[1]])))
  invisible(fit)
}
mixed("cbpp lme4", ill ~ period + (1 | herd), cbpp)
mixed("respiratory lme4", y ~ centre + treatment + male + baseline + age + (1 | subject), r)

x <- model.matrix(~ period, cbpp); herds <- split(seq_len(nrow(cbpp)), cbpp$herd)
marginal <- function(theta) sum(vapply(herds, function(rows) {
  eta <- as.vector(x[rows, ] %*% theta[1:4]); y <- cbpp$ill[rows]
  height <- function(u) vapply(u, function(one)
    sum(y * (eta + theta[5] * one) - log1p(exp(eta + theta[5] * one))) + dnorm(one, log = TRUE), 0)
  mode <- optimize(height, c(-6, 6), maximum = TRUE, tol = 1e-10)
  part <- function(u) exp(height(u) - mode$objective)
  log(integrate(part, mode$maximum - 9, mode$maximum + 9, rel.tol = 1e-12, subdivisions = 2000)$value) +
    mode$objective
}, 0))
top <- climb(marginal, c(-1.4, -1, -1.1, -1.6, 0.65))
put("cbpp", c(colnames(x), "spread"), top$at)
put("cbpp se", c(colnames(x), "spread"), top$se)
put("cbpp", "log likelihood", top$value)
without <- glm(ill ~ period, binomial, cbpp, control = glm.control(epsilon = 1e-14))
put("cbpp", "log likelihood without", as.numeric(logLik(without)))
profile <- function(s) optim(top$at[1:4], function(b) -marginal(c(b, s)), method = "BFGS",
                             control = list(reltol = 1e-13, maxit = 500))$value
limit <- function(ends) uniroot(function(s) 2 * (top$value + profile(s)) - qchisq(0.95, 1), ends, tol = 1e-7)$root
put("cbpp", c("spread low", "spread high"), c(limit(c(0.2, 0.6)), limit(c(0.7, 2))))

gee <- function(name, formula, data, id) {
  data$id <- id
  fit <- geeglm(formula, binomial, data, id = id, corstr = "exchangeable", scale.fix = TRUE,
                control = geese.control(epsilon = 1e-12, maxit = 100))
  put(name, names(coef(fit)), coef(fit))
  put(paste(name, "se"), names(coef(fit)), sqrt(diag(fit$geese$vbeta)))
  put(name, "alpha", fit$geese$alpha)
}
gee("respiratory gee", y ~ centre + treatment + male + baseline + age, r, r$subject)
gee("ohio gee", resp ~ age + smoke, ohio, ohio$id)
write_values("binary_clustered", inputs, c("lme4", "geepack"))
