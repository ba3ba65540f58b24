# Logistic regression with crossed random intercepts of herd and period, by lme4 (Bates D et al. J Stat Softw 2015;67(1)), on its data set
# cbpp (cbpp.csv). With nAGQ = 0 the intercept is found together with the random intercepts: the same mode, at given standard deviations.
# Run as: Rscript crossed.R > crossed.csv
suppressPackageStartupMessages(library(lme4))

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
herds <- read.csv(file.path(dirname(script), "cbpp.csv"), comment.char = "#")
deviance_at <- glmer(cbind(incidence, size - incidence) ~ 1 + (1 | herd) + (1 | period), herds, binomial, nAGQ = 0, devFunOnly = TRUE,
                     control = glmerControl(tolPwrss = 1e-13))
cat(sprintf("# R %s, lme4 %s\n", getRversion(), packageVersion("lme4")))
cat("herd_sd,period_sd,term,value\n")
for (sds in list(c(0.3, 0.3), c(0.6, 0.5), c(1.2, 0.2), c(0, 0.8))) {
  deviance <- deviance_at(sds)
  found <- environment(deviance_at)$pp
  values <- c(deviance, found$beta(1), found$b(1))
  terms <- c("deviance", "intercept", sprintf("herd %d", 1:15), sprintf("period %d", 1:4))
  cat(sprintf("%.1f,%.1f,%s,%.8f\n", sds[1], sds[2], terms, values), sep = "")
}
