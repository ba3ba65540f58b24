# Random-intercept models for counted events by R's lme4 and glmmTMB, as a second opinion.
# Run as: Rscript mixed.R > mixed.csv
# cbpp: contagious bovine pleuropneumonia in 15 herds and 4 periods (Lesnoff M et al. Prev Vet Med 2004;64:113-128), in lme4.
# mixed_pool.csv: simulated patients of eight sites, up to four attempts, ended by the first success.
# points: of the adaptive quadrature; 1 is Laplace's approximation. cosmesis.csv: survreg, exponential, on intervals.
suppressMessages({
  library(lme4)
  library(glmmTMB)
  library(survival)
})
script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
here <- function(name) file.path(dirname(script), name)
pool <- read.csv(here("mixed_pool.csv"), comment.char = "#")
say <- function(data, model, program, points, names, values) {
  cat(sprintf("%s,%s,%s,%d,%s,%.9f\n", data, model, program, points, names, values), sep = "")
}
short <- function(names) sub("^\\(Intercept\\)$", "intercept", names)

cat(sprintf("# R %s, lme4 %s, glmmTMB %s, survival %s\n", getRversion(), packageVersion("lme4"),
            packageVersion("glmmTMB"), packageVersion("survival")))
cat("data,model,program,points,term,value\n")
control <- glmerControl(optimizer = "bobyqa", optCtrl = list(maxfun = 1e5, rhoend = 1e-9))
fit <- glmer(cbind(incidence, size - incidence) ~ period + (1 | herd), cbpp, binomial("cloglog"), nAGQ = 25, control = control)
say("cbpp", "cloglog", "glmer", 25, c(short(names(fixef(fit))), "sd"), c(fixef(fit), sqrt(VarCorr(fit)$herd[1])))
fit <- glmmTMB(cbind(incidence, size - incidence) ~ period + (1 | herd), cbpp, binomial("cloglog"))
say("cbpp", "cloglog", "glmmTMB", 1, c(short(names(fixef(fit)$cond)), "sd", "log_likelihood"),
    c(fixef(fit)$cond, sqrt(VarCorr(fit)$cond$herd[1]), logLik(fit)))
formula <- event ~ x + factor(attempt) + factor(site) + (1 | patient)
fit <- glmer(update(formula, . ~ . + offset(log(gap))), pool, binomial("cloglog"), nAGQ = 25, control = control)
say("pool", "cloglog", "glmer", 25, c(short(names(fixef(fit))), "sd"), c(fixef(fit), sqrt(VarCorr(fit)$patient[1])))
fit <- glmmTMB(update(formula, . ~ . + offset(log(gap))), data = pool, family = binomial("cloglog"))
say("pool", "cloglog", "glmmTMB", 1, c(short(names(fixef(fit)$cond)), "sd", "log_likelihood"),
    c(fixef(fit)$cond, sqrt(VarCorr(fit)$cond$patient[1]), logLik(fit)))
fit <- glm(event ~ x + factor(attempt) + factor(site), binomial("cloglog"), pool, offset = log(gap), epsilon = 1e-14)
say("pool", "cloglog", "glm", 0, c(short(names(coef(fit))), "log_likelihood"), c(coef(fit), logLik(fit)))

rows <- read.csv(here("cosmesis.csv"), comment.char = "#")
rows$left[rows$left == 0] <- NA
fit <- survreg(Surv(left, right, type = "interval2") ~ I(arm == "RT"), rows, dist = "exponential", control = survreg.control(rel.tolerance = 1e-13))
say("cosmesis", "exponential", "survreg", 0, c("intercept", "RT", "intercept_se", "RT_se", "log_likelihood"),
    c(coef(fit), sqrt(diag(vcov(fit))), fit$loglik[2]))
