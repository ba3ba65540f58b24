# Competing events by R's survival package, and the maximum of the likelihood of interval-censored events by another algorithm.
# Run as: Rscript competing.R > competing_reference.csv
# Data: mgus2 (Kyle RA et al. N Engl J Med 2002;346:564-569) and transplant (Kim WR et al. Hepatology 2006;43:345-351), both of that
# package; competing_rows.csv holds the same rows, written by the four lines at the end when called with an argument.
library(survival)

months <- with(mgus2, ifelse(pstat == 0, futime, ptime))
mgus_cause <- with(mgus2, ifelse(pstat == 0, 2 * death, 1))
waited <- transplant$futime
list_cause <- as.integer(transplant$event) - 1

if (length(commandArgs(TRUE)) > 0) {
  cat("data,time,cause\n")
  cat(sprintf("mgus2,%d,%d\n", as.integer(months), as.integer(mgus_cause)), sep = "")
  cat(sprintf("transplant,%d,%d\n", as.integer(waited), list_cause), sep = "")
  quit()
}

cat(sprintf("# R %s, survival %s\n", getRversion(), packageVersion("survival")))
cat("estimator,data,day,cause,incidence,std_error\n")

tell <- function(name, time, cause, days, weights = NULL) {
  rows <- data.frame(time = time, cause = factor(cause, 0:max(cause)))
  rows$weights <- if (is.null(weights)) 1 else weights
  curve <- summary(survfit(Surv(time, cause) ~ 1, data = rows, weights = weights), times = days)
  for (k in seq_len(max(cause))) {
    error <- if (is.null(weights)) sprintf("%.10f", curve$std.err[, k + 1]) else ""
    cat(sprintf("aalen_johansen,%s,%d,%d,%.10f,%s\n", name, days, k, curve$pstate[, k + 1], error), sep = "")
  }
}
tell("mgus2", months, mgus_cause, c(12, 60, 120, 240, 360))
tell("mgus2_weighted", months, mgus_cause, c(60, 120, 240, 360), 1 + seq_along(months) %% 3)
tell("transplant", waited, list_cause, c(0, 30, 100, 365, 1000))

# Each person is seen every 3 to 12 months until the event has come, or until the last whole visit before the end of follow-up.
gap <- 3 + seq_along(months) %% 10
right <- ifelse(mgus_cause > 0, ceiling(months / gap) * gap, Inf)
left <- ifelse(mgus_cause > 0, right - gap, floor(months / gap) * gap)
edges <- c(0, 12, 24, 60, 120, 240)
share <- sapply(seq_len(5), function(b) {
  pmin(1, pmax(0, (pmin(right, edges[b + 1]) - pmax(left, edges[b])) / (edges[b + 1] - edges[b])))
})
share <- cbind(share, right > 240)
cover <- cbind(share * (mgus_cause != 2), share * (mgus_cause != 1))
mass <- rep(1 / ncol(cover), ncol(cover))
repeat { # expectation-maximisation of a mixture, stopped by the gradient
  gradient <- colMeans(cover / as.vector(cover %*% mass))
  if (max(gradient) < 1 + 1e-9) break
  mass <- mass * gradient
}
incidence <- rbind(cumsum(mass[1:5]), cumsum(mass[7:11]))
cat(sprintf("intervals,mgus2,%d,1,%.8f,\n", edges[-1], incidence[1, ]), sep = "")
cat(sprintf("intervals,mgus2,%d,2,%.8f,\n", edges[-1], incidence[2, ]), sep = "")
cat(sprintf("log_likelihood,mgus2,0,0,%.6f,\n", sum(log(cover %*% mass))))
