# Random-effects pools by R's metafor package (Viechtbauer W. J Stat Softw 2010;36(3)), as a second opinion: the BCG trials of meta_bcg.csv
# (log risk ratios) and made-up sets in which the variance between trials is zero, tiny or huge.
# Run as: Rscript meta.R > meta.csv
suppressPackageStartupMessages(library(metafor))

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
d <- read.csv(file.path(dirname(script), "meta_bcg.csv"), comment.char = "#")
bcg <- escalc("RR", ai = cases, n1i = total, ci = cases_control, n2i = total_control, data = d)
sets <- list(
  bcg = list(yi = as.numeric(bcg$yi), vi = as.numeric(bcg$vi)),
  alike = list(yi = c(0.10, 0.12, 0.08, 0.11), vi = c(0.04, 0.09, 0.02, 0.05)),
  two = list(yi = c(0.2, 1.1), vi = c(0.05, 0.08)),
  barely = list(yi = c(0.1, 0.5, -0.2, 0.3, 0.9), vi = c(0.10, 0.08, 0.12, 0.09, 0.20)),
  apart = list(yi = c(-3, 5, 0.5, 12, -7, 2), vi = c(0.01, 0.4, 0.2, 1.5, 0.03, 0.001))
)

tight <- list(threshold = 1e-13, maxiter = 10000)
cat(sprintf("# R %s, metafor %s\n", getRversion(), packageVersion("metafor")))
cat("set,method,tau2,estimate,std_error,lower,upper,predicted_lower,predicted_upper,tau2_lower,tau2_upper,i2,q,p_value,log_likelihood\n")
for (name in names(sets)) {
  for (method in c("REML", "EB", "DL")) { # EB is the same estimator as that of Paule and Mandel, and its search stops closer
    fit <- rma(sets[[name]]$yi, sets[[name]]$vi, method = method, test = "knha", control = if (method == "DL") list() else tight)
    new <- predict(fit)
    between <- confint(fit, type = "QP", control = list(tol = 1e-12, tau2.max = 1e6))$random[1, 2:3]
    numbers <- c(fit$tau2, fit$beta, fit$se, fit$ci.lb, fit$ci.ub, new$pi.lb, new$pi.ub, between, fit$I2 / 100, fit$QE, fit$QEp,
                 if (method == "REML") as.numeric(logLik(fit)) else NA)
    cat(name, method, paste(sprintf("%.9f", numbers), collapse = ","), sep = ",")
    cat("\n")
  }
}
