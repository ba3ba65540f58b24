# Linear mixed models by R's lme4, as a second opinion, of sleepstudy.csv and handicap_rows.csv (patients within sites).
# Run as: Rscript handicap.R > handicap.csv
suppressMessages(library(lme4))

script <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
read <- function(name) read.csv(file.path(dirname(script), name), comment.char = "#")
sleep <- read("sleepstudy.csv")
nested <- read("handicap_rows.csv")
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
fits <- list(
  sleep_slopes = lmer(reaction ~ day + (day | subject), sleep, control = tight),
  sleep_intercepts = lmer(reaction ~ day + (1 | subject), sleep, control = tight),
  nested_slopes = lmer(total ~ time + treated + (time | patient) + (1 | site), nested, control = tight),
  nested_intercepts = lmer(total ~ time + treated + (1 | patient) + (1 | site), nested, control = tight)
)

cat(sprintf("# R %s, lme4 %s\n", getRversion(), packageVersion("lme4")))
cat("model,term,estimate,std_error\n")
for (name in names(fits)) {
  fit <- fits[[name]]
  cat(sprintf("%s,%s,%.8f,%.7f\n", name, names(fixef(fit)), fixef(fit), sqrt(diag(as.matrix(vcov(fit))))), sep = "")
  spread <- as.data.frame(VarCorr(fit))
  labels <- gsub("[()]", "", paste(spread$grp, spread$var1, spread$var2))
  cat(sprintf("%s,%s,%.5f,\n", name, gsub(" NA", "", labels), spread$vcov), sep = "")
  cat(sprintf("%s,log_likelihood,%.8f,\n", name, as.numeric(logLik(fit))))
}
