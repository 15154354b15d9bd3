# Reference values of restricted means, by R's package survival.
# Run in this folder: Rscript survival_restricted_mean.R [output.csv]
# survival_tied.csv is invented: 400 rows, fortnightly days, clusters, late entry, two causes.
source("lib/values.R")
suppressMessages(library(survival))
input <- "survival_tied.csv"
d <- read.csv(input)
d$event <- as.integer(d$state == 1)
d$any <- as.integer(d$state > 0)

# 1 summary(survfit, rmean = ): area and error, rows independent, with and without late entry
for (day in c(98, 196, 350)) {
  put("plain", paste(c("mean", "se"), day), summary(
    survfit(Surv(time, event) ~ 1, d), rmean = day)$table[c("rmean", "se(rmean)")])
  put("any", paste(c("mean", "se"), day), summary(
    survfit(Surv(time, any) ~ 1, d), rmean = day)$table[c("rmean", "se(rmean)")])
  put("entry", paste(c("mean", "se"), day), summary(
    survfit(Surv(entry, time, event) ~ 1, d), rmean = day)$table[c("rmean", "se(rmean)")])
}

# 2 by cluster: influences of rows on the curve, integrated to the day, summed by animal
area_influence <- function(fit, day) {
  inside <- fit$time < day
  widths <- diff(c(fit$time[inside], day))
  drop(fit$influence.surv[, inside, drop = FALSE] %*% widths)
}
for (kind in c("plain", "entry")) for (day in c(98, 196, 350)) {
  model <- if (kind == "plain") Surv(time, event) ~ 1 else Surv(entry, time, event) ~ 1
  d$id <- seq_len(nrow(d))
  fit <- survfit(model, d, id = id, influence = 1)
  put(kind, paste("cluster se", day), sqrt(sum(rowsum(area_influence(fit, day), d$animal)^2)))
}

# 3 two groups that share animals: difference, and log of the ratio, with their errors
for (day in c(196, 350)) {
  arms <- lapply(c(0, 1), function(arm) {
    own <- d[d$x1 == arm, ]
    own$id <- seq_len(nrow(own))
    fit <- survfit(Surv(time, event) ~ 1, own, id = id, influence = 1)
    list(mean = unname(summary(fit, rmean = day)$table["rmean"]),
         by = rowsum(area_influence(fit, day), own$animal))
  })
  names <- union(rownames(arms[[1]]$by), rownames(arms[[2]]$by))
  by <- sapply(arms, function(arm) {
    out <- setNames(rep(0, length(names)), names)
    out[rownames(arm$by)] <- arm$by
    out
  })
  means <- sapply(arms, `[[`, "mean")
  put("arms", paste(c("difference", "se"), day), c(means[2] - means[1], sqrt(sum((by[, 2] - by[, 1])^2))))
  put("arms", paste(c("log ratio", "se log ratio"), day),
      c(log(means[2] / means[1]), sqrt(sum((by[, 2] / means[2] - by[, 1] / means[1])^2))))
}

write_values("survival_restricted_mean", input, "survival")
