# Complementary log-log regression with a random intercept of the herd, by lme4 (Bates D et al. J Stat Softw 2015;67(1)) with 25 points of
# adaptive Gauss-Hermite quadrature, on its data set cbpp (cbpp.csv).
# Run as: Rscript site_intercepts.R > site_intercepts.csv
suppressPackageStartupMessages(library(lme4))

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
herds <- read.csv(file.path(dirname(script), "cbpp.csv"), comment.char = "#")
fit <- glmer(cbind(incidence, size - incidence) ~ factor(period) + (1 | herd), herds, binomial("cloglog"), nAGQ = 25,
             control = glmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 0.2, rhoend = 1e-9, maxfun = 1e5)))
cat(sprintf("# R %s, lme4 %s\n", getRversion(), packageVersion("lme4")))
cat("term,estimate,std_error\n")
errors <- sqrt(diag(as.matrix(vcov(fit))))
cat(sprintf("%s,%.6f,%.6f\n", c("intercept", "period 2", "period 3", "period 4"), fixef(fit), errors), sep = "")
cat(sprintf("sigma,%.6f,\n", attr(VarCorr(fit)$herd, "stddev")))
