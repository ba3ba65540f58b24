# Interval-censored accelerated-failure regressions by R's survival package, as a second opinion, of interval_regression_rows.csv and cosmesis.csv.
# Run as: Rscript interval_regression.R > interval_regression.csv
# survreg wants NA for an end outside of time; its scale is that of log time.
suppressMessages(library(survival))

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
read <- function(name) read.csv(file.path(dirname(script), name), comment.char = "#")
rows <- read("interval_regression_rows.csv")
cosmesis <- read("cosmesis.csv")
cosmesis <- data.frame(data = "cosmesis", cosmesis[c("left", "right")], x1 = as.integer(cosmesis$arm == "RT"), x2 = 0, x3 = 0, x4 = 0, x5 = 0)
rows <- rbind(rows, cosmesis)
rows$left[rows$left == 0] <- NA

cat(sprintf("# R %s, survival %s\n", getRversion(), packageVersion("survival")))
cat("data,family,term,estimate,std_error,log_likelihood\n")
for (name in unique(rows$data)) {
  own <- rows[rows$data == name, ]
  x <- as.matrix(own[, paste0("x", 1:5)])
  x <- x[, colSums(x != 0) > 0, drop = FALSE]
  for (family in c("weibull", "lognormal", "loglogistic")) {
    fit <- survreg(Surv(left, right, type = "interval2") ~ x, data = own, dist = family,
                   control = survreg.control(maxiter = 200, rel.tolerance = 1e-13))
    terms <- c("intercept", colnames(x), "log_scale")
    cat(sprintf("%s,%s,%s,%.10f,%.8f,%.9f\n", name, family, terms, c(coef(fit), log(fit$scale)),
                sqrt(diag(fit$var)), fit$loglik[2]), sep = "")
  }
}
