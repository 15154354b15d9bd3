# Cumulative incidence by the R package cmprsk; its variance is another formula and is not kept.
# Run in this folder: Rscript competing_cmprsk.R [output.csv]
source("lib/values.R")
suppressMessages(library(cmprsk))
input <- "survival_tied.csv"
d <- read.csv(input)
days <- c(28, 98, 196, 350)
found <- timepoints(cuminc(d$time, d$state, d$stratum), days)$est
for (name in rownames(found)) {
  part <- strsplit(name, " ")[[1]]
  put(paste("stratum", part[1]), paste("cause", part[2], "day", days), found[name, ])
}
write_values("competing_cmprsk", input, "cmprsk")
