# Reads every CSV file of a report as read.csv does by default; prints its name, rows and columns.
folder <- commandArgs(trailingOnly = TRUE)[1]
for (name in sort(list.files(folder, pattern = "[.]csv$"), method = "radix")) {
  table <- read.csv(file.path(folder, name))
  header <- strsplit(readLines(file.path(folder, name), n = 1), ",")[[1]]
  stopifnot(identical(names(table), header))
  numbers <- table[sapply(table, is.numeric)]
  stopifnot(!any(sapply(numbers, function(column) any(is.infinite(column)))))
  cat(name, nrow(table), ncol(table), "\n")
}
