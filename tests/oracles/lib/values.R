# Values by name, and their file: script, versions and inputs (with fingerprints) stand in its head.
options(digits = 16)
rows <- list()
put <- function(group, quantity, value) {
  rows[[length(rows) + 1]] <<- data.frame(group = group, quantity = quantity, value = as.numeric(value))
}
fingerprint <- function(path) paste(path, "md5", unname(tools::md5sum(path)))
# `name` is that of the script without its ending; another output may be named on the command line.
write_values <- function(name, inputs, packages = character()) {
  named <- commandArgs(trailingOnly = TRUE)
  output <- if (length(named)) named[1] else paste0(name, ".csv")
  versions <- vapply(c("base", packages), function(p) paste(p, packageVersion(p)), "")
  head <- c(paste("# script", fingerprint(paste0(name, ".R"))),
            paste("#", R.version.string), paste("# package", versions),
            paste("# input", vapply(inputs, fingerprint, "")))
  body <- do.call(rbind, rows)
  body$value <- format(body$value, digits = 16, scientific = TRUE, trim = TRUE)
  writeLines(head, output)
  suppressWarnings(
    write.table(body, output, sep = ",", row.names = FALSE, quote = FALSE, append = TRUE))
}
