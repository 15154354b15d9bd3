# Refits models of the plan in base R and its package survival, from the cohort as CSV, and compares
# coefficients, standard errors and risks with the results table. Sourced by one script a model.
suppressPackageStartupMessages(library(survival))

read_text <- function(path) {
  table <- read.csv(path, colClasses = "character", na.strings = "", check.names = FALSE,
                    encoding = "UTF-8")
  table[] <- lapply(table, function(column) sub("^'([=+@\t\r-])", "\\1", column))
  table
}

# Rows of the population, with the levels that are compared.
rows_of <- function(plan, cohort) {
  if (!is.null(cohort$left_at)) cohort <- cohort[is.na(cohort$left_at), ]
  if (!is.null(plan$population)) {
    cohort <- cohort[cohort[[paste0("set_", tolower(plan$population))]] %in% "true", ]
  }
  for (column in names(plan$where)) {
    cohort <- cohort[cohort[[column]] %in% plan$where[[column]], ]
  }
  if (length(plan$levels) > 0) {
    exposure <- cohort[[plan$exposure]]
    cohort <- cohort[is.na(exposure) | exposure %in% plan$levels, ]
  }
  cohort
}

complete <- function(table, columns) table[stats::complete.cases(table[, columns, drop = FALSE]), ]

# Harrell's restricted cubic spline, knots at quantiles.
spline_basis <- function(x, count) {
  at <- list("3" = c(.10, .50, .90), "4" = c(.05, .35, .65, .95),
             "5" = c(.05, .275, .50, .725, .95), "6" = c(.05, .23, .41, .59, .77, .95),
             "7" = c(.025, .1833, .3417, .50, .6583, .8167, .975))[[as.character(count)]]
  knot <- quantile(x, at, names = FALSE)
  cubed <- function(t) pmax(x - t, 0)^3
  k <- length(knot)
  curved <- sapply(knot[1:(k - 2)], function(t) {
    (cubed(t) - cubed(knot[k - 1]) * (knot[k] - t) / (knot[k] - knot[k - 1]) +
       cubed(knot[k]) * (knot[k - 1] - t) / (knot[k] - knot[k - 1])) / (knot[k] - knot[1])^2
  })
  cbind(x, curved)
}

# Model matrix without intercept; columns are called term, term=level or term=spline k.
design_of <- function(plan, table, terms) {
  parts <- lapply(terms, function(term) {
    text <- table[[term]]
    reference <- plan$categorical[[term]]
    if (is.null(reference) && all(text %in% c("true", "false"))) reference <- "false"
    if (is.null(reference)) {
      x <- as.numeric(text)
      if (!is.null(plan$spline[[term]])) {
        x <- spline_basis(x, plan$spline[[term]])
        colnames(x) <- paste0(term, "=spline ", seq_len(ncol(x)))
      } else {
        x <- matrix(x, dimnames = list(NULL, term))
      }
      if (!is.null(plan$per[[term]])) x <- x / plan$per[[term]]
      return(x)
    }
    levels <- sort(unique(text), method = "radix")
    if (identical(reference, "most_frequent")) {
      reference <- levels[which.max(tabulate(match(text, levels)))]
    }
    others <- setdiff(levels, reference)
    x <- sapply(others, function(level) as.numeric(text == level))
    matrix(x, nrow(table), dimnames = list(NULL, paste0(term, "=", others)))
  })
  do.call(cbind, parts)
}

terms_of <- function(plan, adjustment) {
  if (adjustment == "crude" && !is.null(plan$exposure)) plan$exposure
  else c(plan$exposure, unlist(plan$adjust_for))
}

column_of <- function(rows) ifelse(is.na(rows$level), rows$term, paste0(rows$term, "=", rows$level))

# Compare numbers of ours with R's and say so, a line each.
compare <- function(what, ours, r) {
  ours <- as.numeric(ours)
  apart <- abs(ours - r) / pmax(abs(r), 1e-8)
  cat(sprintf("%-58s %14.8g %14.8g  %s\n", substr(what, 1, 58), ours, r,
              ifelse(apart <= 1e-6, "same", "DIFFERS")), sep = "")
  all(apart <= 1e-6)
}

compare_coefficients <- function(rows, beta, errors) {
  place <- match(column_of(rows), names(beta))
  all(compare(paste(rows$adjustment, rows$model, "b", column_of(rows)), rows$estimate, beta[place]),
      compare(paste(rows$adjustment, rows$model, "se", column_of(rows)), rows$std_error,
              errors[place]))
}

# Errors of a penalised fit are robust, or the larger of these and the model's, but for terms that
# separate: the rows' method says which.
compare_penalised <- function(rows, fit, names) {
  place <- match(column_of(rows), names)
  errors <- ifelse(grepl("the larger of", rows$method), pmax(fit$robust, fit$errors)[place],
                   ifelse(grepl("robust", rows$method), fit$robust[place], fit$errors[place]))
  compare_coefficients(rows, setNames(fit$beta, names), setNames(errors, names[place]))
}

fitted_rows <- function(results, plan, model, adjustment, measure) {
  results[results$analysis == plan$id & results$model %in% model & results$measure == measure &
            results$adjustment %in% adjustment & !is.na(results$estimate), ]
}

event_code <- function(plan, table) {
  state <- table[[plan$event]]
  if (is.null(plan$event_of_interest)) return(as.integer(state %in% c("1", "true")))
  code <- match(state, c(plan$event_of_interest, plan$competing))
  ifelse(is.na(code), 0L, code)
}

fit_cause <- function(plan, table, x, happened, at = NULL) {
  time <- as.numeric(table[[plan$time]])
  y <- if (is.null(plan$entry)) Surv(time, happened) else Surv(as.numeric(table[[plan$entry]]), time, happened)
  arguments <- list(formula = if (length(plan$strata) == 0) y ~ x else y ~ x + strata(block),
                    ties = plan$ties, control = coxph.control(eps = 1e-12, iter.max = 50))
  if (length(plan$strata) > 0) block <- interaction(table[, unlist(plan$strata), drop = FALSE])
  if (!is.null(plan$weights)) arguments$weights <- as.numeric(table[[plan$weights]])
  if (!is.null(plan$cluster)) arguments$cluster <- table[[plan$cluster]]
  if (!is.null(at)) {  # no step: the likelihood, scores and information there
    arguments$init <- at
    arguments$control <- coxph.control(iter.max = 0)
  }
  environment(arguments$formula) <- environment()
  fit <- do.call(coxph, arguments)
  names(fit$coefficients) <- colnames(x)
  fit
}

# Firth's penalised partial likelihood by Newton's method: the score with half the derivative of
# log det(information), which is taken by differences of fits that stay where they start.
firth_cox <- function(plan, table, x, happened) {
  free <- plan[names(plan) != "cluster"]
  scale <- apply(x, 2, sd)
  z <- sweep(x, 2, scale, "/")
  there <- function(b) fit_cause(free, table, z, happened, at = b)
  half_log_det <- function(b) -as.numeric(determinant(vcov(there(b)))$modulus) / 2
  b <- rep(0, ncol(z))
  for (step in 1:200) {
    fit <- there(b)
    score <- as.matrix(residuals(fit, type = "score", weighted = TRUE))
    pull <- sapply(seq_along(b), function(j) {
      h <- 1e-4 * (seq_along(b) == j)
      (half_log_det(b + h) - half_log_det(b - h)) / 2e-4
    })
    move <- drop(vcov(fit) %*% (colSums(score) + pull))
    b <- b + move * min(1, 1 / max(abs(move)))
    if (max(abs(move)) < 1e-9) break
  }
  fit <- fit_cause(plan, table, x, happened, at = b / scale)
  plain <- if (is.null(fit$naive.var)) fit$var else fit$naive.var
  list(beta = coef(fit), errors = sqrt(diag(plain)), robust = sqrt(diag(fit$var)))
}

refit_cox <- function(plan) {
  results <- read_text("../results.csv")
  table <- rows_of(plan, read_text("../cohort.csv"))
  good <- TRUE
  for (adjustment in c("crude", "adjusted")) {
    for (model in c("firth_cox", "cox")) {
      rows <- fitted_rows(results, plan, model, adjustment, "coefficient")
      if (nrow(rows) == 0) next
      terms <- terms_of(plan, adjustment)
      kept <- complete(table, c(plan$time, plan$event, plan$entry, plan$weights, plan$cluster,
                                unlist(plan$strata), terms))
      x <- design_of(plan, kept, terms)
      happened <- event_code(plan, kept) == 1
      if (model == "firth_cox") {
        fit <- firth_cox(plan, kept, x, happened)
        good <- compare_penalised(rows, fit, colnames(x)) && good
      } else {
        fit <- fit_cause(plan, kept, x, happened)
        good <- compare_coefficients(rows, coef(fit), setNames(sqrt(diag(vcov(fit))), names(coef(fit)))) && good
      }
    }
  }
  finish(good)
}

# A gamma frailty: R stops the search for its variance early, so the terms are compared at ours, to
# six figures, and R's own variance stands beside to one in fifty. Errors are not compared: R takes
# the variance as known in them.
refit_frailty <- function(plan) {
  results <- read_text("../results.csv")
  table <- rows_of(plan, read_text("../cohort.csv"))
  good <- TRUE
  for (adjustment in c("crude", "adjusted")) {
    rows <- fitted_rows(results, plan, "frailty", adjustment, "coefficient")
    variance <- fitted_rows(results, plan, "frailty", adjustment, "frailty_variance")$estimate
    if (nrow(rows) == 0) next
    terms <- terms_of(plan, adjustment)
    kept <- complete(table, c(plan$time, plan$event, plan$random_intercept, unlist(plan$strata), terms))
    x <- design_of(plan, kept, terms)
    y <- Surv(as.numeric(kept[[plan$time]]), event_code(plan, kept) == 1)
    own <- factor(kept[[plan$random_intercept]])
    block <- if (length(plan$strata) == 0) rep(1, nrow(kept))
             else interaction(kept[, unlist(plan$strata), drop = FALSE])
    control <- coxph.control(eps = 1e-12, toler.chol = 1e-13, iter.max = 100, outer.max = 100)
    theta <- as.numeric(variance)
    held <- if (theta <= 0) coxph(y ~ x + strata(block), ties = plan$ties, control = control)
            else coxph(y ~ x + strata(block) + frailty(own, distribution = "gamma", theta = theta),
                       ties = plan$ties, control = control)
    beta <- setNames(coef(held)[seq_len(ncol(x))], colnames(x))
    good <- compare(paste(rows$adjustment, "frailty b", column_of(rows)), rows$estimate,
                    beta[match(column_of(rows), names(beta))]) && good
    if (theta <= 0) next
    free <- coxph(y ~ x + strata(block) + frailty(own, distribution = "gamma"),
                  ties = plan$ties, control = control)
    theirs <- free$history[[1]]$theta
    near <- abs(theta - theirs) <= 0.02 * theirs
    cat(sprintf("%-58s %14.8g %14.8g  %s\n", paste(adjustment, "frailty variance"), theta, theirs,
                if (near) "near" else "DIFFERS"))
    good <- near && good
  }
  finish(good)
}

# Who is seen free shortly before the horizon counts as followed to it, where the plan says so.
followed_to_horizon <- function(plan, table) {
  if (is.null(plan$seen_from)) return(table)
  time <- as.numeric(table[[plan$time]])
  near <- event_code(plan, table) %in% 0 & time >= plan$seen_from & time < plan$followed_to
  table[[plan$time]] <- ifelse(near, plan$followed_to, time)
  table
}

refit_cumulative_incidence <- function(plan) {
  results <- read_text("../results.csv")
  table <- followed_to_horizon(plan, rows_of(plan, read_text("../cohort.csv")))
  needed <- c(plan$exposure, plan$time, plan$event, plan$entry, plan$weights, plan$cluster)
  good <- TRUE
  crude <- fitted_rows(results, plan, "cumulative_incidence", "crude", "risk")
  states <- c(if (is.null(plan$event_of_interest)) plan$event else plan$event_of_interest, plan$competing)
  kept <- complete(table, needed)
  for (arm in unique(crude$group)) {
    here <- if (is.na(arm)) kept else kept[kept[[plan$exposure]] == arm, ]
    state <- factor(event_code(plan, here), 0:length(states), c("censored", states))
    time <- as.numeric(here[[plan$time]])
    weight <- if (is.null(plan$weights)) rep(1, length(time)) else as.numeric(here[[plan$weights]])
    y <- if (is.null(plan$entry)) Surv(time, state) else Surv(as.numeric(here[[plan$entry]]), time, state)
    curve <- survfit(y ~ 1, id = seq_along(time), weights = weight, influence = TRUE)
    rows <- crude[crude$group %in% arm, ]
    said <- paste("risk", rows$group, rows$state, "by day", rows$day)
    at <- cbind(findInterval(as.numeric(rows$day), curve$time), match(rows$state, curve$states))
    good <- compare(said, rows$estimate, rbind(0, curve$pstate)[at + rep(1:0, each = nrow(at))]) && good
    cluster <- if (is.null(plan$cluster)) seq_along(time) else here[[plan$cluster]]
    errors <- apply(at, 1, function(place) {  # what each row does to the risk, by cluster; day 0 first
      sqrt(sum(rowsum(weight * curve$influence.pstate[, place[1] + 1, place[2]], cluster)^2))
    })
    if (!is.null(plan$cluster)) good <- compare(paste("se of", said), rows$std_error, errors) && good
  }
  finish(refit_standardised(plan, results, table) && good)
}

# Average over the cohort of the risk that two cause-specific Cox models give under each arm.
refit_standardised <- function(plan, results, table) {
  rows <- fitted_rows(results, plan, "cumulative_incidence", "standardised", "risk")
  if (nrow(rows) == 0) return(TRUE)
  terms <- terms_of(plan, "adjusted")
  kept <- complete(table, c(plan$time, plan$event, plan$weights, plan$cluster, terms))
  code <- event_code(plan, kept)
  x <- design_of(plan, kept, terms)
  hazards <- lapply(list(code == 1, code > 1), function(happened) {
    if (!any(happened)) return(list(day = 0, step = 0, beta = 0 * x[1, ]))
    columns <- rep(TRUE, ncol(x))
    repeat {  # a term of the competing events without a finite hazard ratio is left out
      fit <- suppressWarnings(fit_cause(plan, kept, x[, columns, drop = FALSE], happened))
      endless <- is.na(coef(fit)) | abs(coef(fit)) * apply(x[, columns, drop = FALSE], 2, sd) > 5
      if (!any(endless)) break
      columns[columns] <- !endless
    }
    base <- basehaz(fit, centered = FALSE)
    beta <- setNames(rep(0, ncol(x)), colnames(x))
    beta[names(coef(fit))] <- coef(fit)
    list(day = base$time, step = diff(c(0, base$hazard)), beta = beta)
  })
  weight <- if (is.null(plan$weights)) rep(1, nrow(kept)) else as.numeric(kept[[plan$weights]])
  day <- sort(unique(c(hazards[[1]]$day, hazards[[2]]$day)))
  step <- lapply(hazards, function(h) { s <- h$step[match(day, h$day)]; ifelse(is.na(s), 0, s) })
  good <- TRUE
  for (arm in unique(rows$group)) {
    there <- x
    own <- grepl(paste0("^", plan$exposure, "="), colnames(x))
    there[, own] <- 0
    mine <- paste0(plan$exposure, "=", arm)
    if (mine %in% colnames(x)) there[, mine] <- 1
    u <- exp(drop(there %*% hazards[[1]]$beta)) %o% step[[1]]
    v <- exp(drop(there %*% hazards[[2]]$beta)) %o% step[[2]]
    free <- exp(-t(apply(u + v, 1, cumsum)))
    before <- cbind(1, free[, -ncol(free), drop = FALSE])
    risk <- t(apply(before * (1 - exp(-(u + v))) * ifelse(u + v > 0, u / (u + v), 0), 1, cumsum))
    mean_risk <- colSums(weight * risk) / sum(weight)
    chosen <- rows[rows$group == arm, ]
    at <- findInterval(as.numeric(chosen$day), day)
    good <- compare(paste("standardised risk", arm, "by day", chosen$day), chosen$estimate,
                    c(0, mean_risk)[at + 1]) && good
  }
  good
}

# Weights that let known outcomes stand for unknown ones: loss to follow-up as the event of a Cox
# model, or a logistic model of being known where the plan has no days.
observation_weights <- function(plan, table, x, known, y) {
  if (all(known)) return(rep(1, nrow(table)))
  if (is.null(plan$settled)) {
    chance <- fitted(glm(known ~ x, family = binomial, control = glm.control(epsilon = 1e-12)))
  } else {
    day <- as.numeric(table[[plan$settled]])
    day <- ifelse(known & y == 1, day, pmin(day, plan$last_day))
    day <- ifelse(known, pmax(day - 0.5, 0), day)
    fit <- coxph(Surv(day, !known) ~ x, ties = "efron", control = coxph.control(eps = 1e-12, iter.max = 50))
    chance <- exp(-predict(fit, type = "expected"))
  }
  ifelse(known, mean(known) / chance, 0)
}

firth <- function(x, y, weight, cluster) {
  beta <- c(qlogis(weighted.mean(y, weight)), rep(0, ncol(x) - 1))
  for (step in 1:500) {
    p <- plogis(drop(x %*% beta))
    half <- x * sqrt(weight * p * (1 - p))
    information <- crossprod(half)
    hat <- rowSums((half %*% solve(information)) * half)
    move <- solve(information, crossprod(x, weight * (y - p) + hat * (0.5 - p)))
    beta <- beta + drop(move) * min(1, 1 / max(abs(move) * apply(x, 2, function(z) max(sd(z), 1))))
    if (max(abs(move)) < 1e-12) break
  }
  bread <- solve(information)
  list(beta = beta, errors = sqrt(diag(bread)), robust = robust_errors(x, y, weight, cluster, p, bread))
}

# CR1: from sums of scores by cluster.
robust_errors <- function(x, y, weight, cluster, p, bread) {
  if (is.null(cluster)) return(sqrt(diag(bread)))
  sums <- rowsum(x * (weight * (y - p)), cluster)
  groups <- nrow(sums)
  factor <- groups / (groups - 1) * (nrow(x) - 1) / (nrow(x) - ncol(x))
  sqrt(diag(bread %*% crossprod(sums) %*% bread) * factor)
}

likelihood <- function(x, y, weight, cluster) {
  fit <- suppressWarnings(glm.fit(x, y, weights = weight, family = quasibinomial(),
                                  control = glm.control(epsilon = 1e-13, maxit = 100)))
  p <- fit$fitted.values
  bread <- solve(crossprod(x * sqrt(weight * p * (1 - p))))
  list(beta = fit$coefficients, errors = sqrt(diag(bread)),
       robust = robust_errors(x, y, weight, cluster, p, bread))
}

refit_logistic <- function(plan) {
  results <- read_text("../results.csv")
  table <- rows_of(plan, read_text("../cohort.csv"))
  wide <- unique(c(terms_of(plan, "adjusted"), unlist(plan$observation_terms)))
  good <- TRUE
  for (adjustment in c("crude", "adjusted")) {
    for (model in c("weighted_firth_logistic", "weighted_logistic", "firth_logistic", "logistic")) {
      rows <- fitted_rows(results, plan, model, adjustment, "coefficient")
      if (nrow(rows) == 0) next
      weighted <- grepl("^weighted", model)
      terms <- terms_of(plan, adjustment)
      needed <- if (weighted) c(plan$settled, plan$cluster, wide)
                else c(plan$outcome, plan$weights, plan$cluster, terms)
      kept <- complete(table, needed)
      y <- as.integer(kept[[plan$outcome]] %in% c("1", "true"))
      known <- !is.na(kept[[plan$outcome]])
      weight <- if (!is.null(plan$weights)) as.numeric(kept[[plan$weights]]) else rep(1, nrow(kept))
      x <- design_of(plan, kept, if (weighted) wide else terms)
      if (weighted) {
        out <- results[results$analysis == plan$id & results$term %in% "left_out_of_weights", ]
        weight <- observation_weights(plan, kept, x[, !colnames(x) %in% out$level, drop = FALSE], known, y)
        x <- x[, sub("=.*", "", colnames(x)) %in% terms, drop = FALSE]
      }
      x <- cbind(intercept = 1, x)[weight > 0, , drop = FALSE]
      used <- list(x = x, y = y[weight > 0], weight = weight[weight > 0])
      cluster <- if (is.null(plan$cluster)) NULL else kept[[plan$cluster]][weight > 0]
      used <- c(used, list(cluster = cluster))
      fit <- do.call(if (grepl("firth", model)) firth else likelihood, used)
      good <- compare_penalised(rows, fit, colnames(x)) && good
    }
  }
  finish(good)
}

finish <- function(good) {
  cat(if (good) "All the same to six figures.\n" else "Some differ: see above.\n")
  if (!good) quit(status = 1)
}
