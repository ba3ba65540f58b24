# Interval-censored Weibull regression of cosmesis.csv on radiotherapy alone, by survreg of R's survival package.
# Run as: Rscript hazard_weibull.R > hazard_weibull.csv
library(survival)

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
rows <- read.csv(file.path(dirname(script), "cosmesis.csv"), comment.char = "#")
rows$left[rows$left == 0] <- NA # survreg wants NA for "before the first visit"
fit <- survreg(Surv(left, right, type = "interval2") ~ I(arm == "RT"), rows, control = survreg.control(rel.tolerance = 1e-13))
cat(sprintf("# R %s, survival %s\n", getRversion(), packageVersion("survival")))
cat("term,estimate,std_error\n")
cat(sprintf("%s,%.8f,%.8f\n", c("intercept", "RT", "log scale"), c(coef(fit), log(fit$scale)), sqrt(diag(vcov(fit)))), sep = "")
