# Chances of a choice and stabilised weights by R's glm, for test_propensity.py.
# Run as: Rscript propensity.R > propensity.csv
# Model and data: Hernan MA, Robins JM. Causal Inference: What If. 2020, chapter 12 (nhefs.csv).
rows <- read.csv("nhefs.csv", comment.char = "#")
fit <- glm(
  qsmk ~ sex + race + age + I(age^2) + factor(education) + smokeintensity + I(smokeintensity^2) +
    smokeyrs + I(smokeyrs^2) + factor(exercise) + factor(active) + wt71 + I(wt71^2),
  family = binomial(), data = rows, control = glm.control(epsilon = 1e-14, maxit = 100)
)
chance <- fitted(fit)
share <- mean(rows$qsmk)
weight <- ifelse(rows$qsmk == 1, share / chance, (1 - share) / (1 - chance))
cut_at <- quantile(weight, c(0.01, 0.99))
cut <- pmin(pmax(weight, cut_at[1]), cut_at[2])
change <- rows$qsmk == 1
difference <- function(w) weighted.mean(rows$wt82_71[change], w[change]) - weighted.mean(rows$wt82_71[!change], w[!change])
apart <- function(x, w) {
  spread <- sqrt((mean((x[change] - mean(x[change]))^2) + mean((x[!change] - mean(x[!change]))^2)) / 2)
  (weighted.mean(x[change], w[change]) - weighted.mean(x[!change], w[!change])) / spread
}
one <- rep(1, nrow(rows))
told <- c(
  mean = mean(weight), least = min(weight), greatest = max(weight), difference = difference(weight), naive = difference(one),
  cut_mean = mean(cut), cut_low = cut_at[[1]], cut_high = cut_at[[2]], cut_difference = difference(cut),
  effective_change = sum(cut[change])^2 / sum(cut[change]^2), effective_repeat = sum(cut[!change])^2 / sum(cut[!change]^2),
  sex_before = apart(rows$sex, one), sex_after = apart(rows$sex, weight),
  exercise_2_before = apart(1 * (rows$exercise == 2), one), exercise_2_after = apart(1 * (rows$exercise == 2), weight)
)
cat(sprintf("# R %s\nname,value\n", getRversion()))
cat(sprintf("coef_%d,%.10f\n", seq_along(coef(fit)), coef(fit)), sep = "")
cat(sprintf("%s,%.10f\n", names(told), told), sep = "")
