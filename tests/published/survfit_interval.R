# The interval-censored survival curve of cosmesis.csv by R's survival package, as a second opinion.
# Run as: Rscript survfit_interval.R > survfit_interval.csv
# survfit places a jump at the middle of its interval and stops when no survival moves by more than 5e-5.
library(survival)

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
rows <- read.csv(file.path(dirname(script), "cosmesis.csv"), comment.char = "#")
rows$left[rows$left == 0] <- NA # survfit wants NA for "before the first visit"

cat(sprintf("# R %s, survival %s\n", getRversion(), packageVersion("survival")))
cat("arm,day,survival\n")
for (arm in unique(rows$arm)) {
  curve <- survfit(Surv(left, right, type = "interval2") ~ 1, data = rows[rows$arm == arm, ])
  at <- summary(curve, times = 0:48, extend = TRUE)
  cat(sprintf("%s,%d,%.8f\n", arm, 0:48, at$surv), sep = "")
}
