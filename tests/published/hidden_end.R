# Two-state models of intermittently observed states by R's msm package (Jackson CH. J Stat Softw 2011;38(8)).
# Run as: Rscript hidden_end.R > hidden_end_reference.csv
# Data: cav and psor of that package, reduced to two states, in whole months; hidden_end_rows.csv holds the same rows, written
# when called with an argument. The models are those of sections 2.6, 2.7 and 2.14 of its manual, with the later states as one,
# and without deaths: nobody is followed beyond the last visit.
suppressMessages(library(msm))

# months since the first visit, at which nobody has reached state 2, and whether it was seen at each; the last visit of a month
reduce <- function(data, person, male, time, found) {
  rows <- data.frame(data, person, male, month = 0, found)
  first <- !duplicated(person)
  rows$month <- round(time - time[first][match(person, person[first])])
  begun <- person[first & found == 0]
  rows <- rows[rows$person %in% begun & !duplicated(rows[c("person", "month")], fromLast = TRUE), ]
  rows[rows$month > 0, ]
}
visits <- cav[cav$state < 4, ]
rows <- rbind(
  with(visits, reduce("cav", PTNUM - 100000, 1 - sex, years * 12, as.integer(state > 1))),
  with(psor, reduce("psor", ptnum, 0, months, as.integer(state > 1)))
)
if (length(commandArgs(TRUE)) > 0) {
  write.csv(rows, quote = FALSE, row.names = FALSE)
  quit()
}

start <- unique(rows[c("data", "person", "male")])
rows <- rbind(rows, data.frame(start, month = 0, found = 0))
rows <- rows[order(rows$data, rows$person, rows$month), ]
rows$first <- as.integer(rows$month == 0)
rows$now <- rows$found + 1
rows$ever <- ave(rows$now, rows$data, rows$person, FUN = cummax)
# visits until the first in state 2, for models in which none is misread
until <- rows[ave(rows$found, rows$data, rows$person, FUN = cumsum) - rows$found == 0, ]
transplant <- rows[rows$data == "cav", ]
seen <- until[until$data == "cav", ]

one_way <- rbind(c(0, 0.01), c(0, 0))
search <- list(reltol = 1e-16, fnscale = 1000, maxit = 1000)
fit <- function(formula, data, ...) {
  msm(formula, subject = person, data = data, qmatrix = one_way, method = "BFGS", control = search, ...)
}
cat(sprintf("# R %s, msm %s\n", getRversion(), packageVersion("msm")))
cat("data,model,quantity,person,month,value\n")
say <- function(data, model, quantity, value, month = "", person = "") {
  cat(sprintf("%s,%s,%s,%s,%s,%.10f\n", data, model, quantity, person, month, value), sep = "")
}

for (data in c("cav", "psor")) {
  once <- fit(now ~ month, until[until$data == data, ])
  say(data, "constant", "rate", qmatrix.msm(once, ci = "none")[1, 2])
  say(data, "constant", "log_likelihood", as.numeric(logLik(once)))
  for (month in c(12, 60, 120)) say(data, "constant", "ended", pmatrix.msm(once, t = month)[1, 2], month)
}

# Another rate from month 36 on. Whoever was not seen in it gets a row with either state: the argument "pci" of msm 1.7 makes such
# rows too, but takes them as of states that can be left only, so that nobody reaches state 2 across month 36.
seen$late <- as.integer(seen$month >= 36)
across <- seen$month > 36 & c(0, head(seen$month, -1)) < 36 & seen$month > 0
cut <- transform(seen[across, ], month = 36, now = 99, late = 1)
split <- rbind(seen, cut)
split <- fit(now ~ month, split[order(split$person, split$month), ], covariates = ~late, center = FALSE,
             censor = 99, censor.states = c(1, 2))
rates <- sapply(0:1, function(late) qmatrix.msm(split, covariates = list(late = late), ci = "none")[1, 2])
say("cav", "two_periods", "rate", rates, c(36, 999))
say("cav", "two_periods", "log_likelihood", as.numeric(logLik(split)))

# rates of women and of men
apart <- fit(now ~ month, seen, covariates = ~male, center = FALSE)
rates <- sapply(0:1, function(male) qmatrix.msm(apart, covariates = list(male = male), ci = "none")[1, 2])
say("cav", c("women", "men"), "rate", rates)
say("cav", "women", "log_likelihood", as.numeric(logLik(apart)))

# Misread visits, but not the first: state 2 seen in 1, and state 1 seen in 2. Estimated, and fixed at what the manual's model 5 gives.
recovered <- unique(transplant$person[transplant$now < transplant$ever]) # as they seem
for (fixed in c(FALSE, TRUE)) {
  model <- c("misread", "misread_fixed")[fixed + 1]
  chance <- if (fixed) c(0.02690, 0.17491) else c(0.1, 0.1)
  hidden <- msm(now ~ month, subject = person, data = transplant, qmatrix = one_way, method = "BFGS", control = search,
                ematrix = rbind(c(0, chance[1]), c(chance[2], 0)), obstrue = first, fixedpars = if (fixed) 2:3)
  say("cav", model, "rate", qmatrix.msm(hidden, ci = "none")[1, 2])
  say("cav", model, "log_likelihood", as.numeric(logLik(hidden)))
  say("cav", model, "found_in_1", ematrix.msm(hidden, ci = "none")[1, 2])
  say("cav", model, "missed_in_2", ematrix.msm(hidden, ci = "none")[2, 1])
  for (month in c(12, 60, 120)) say("cav", model, "ended", pmatrix.msm(hidden, t = month)[1, 2], month)
  known <- viterbi.msm(hidden)
  some <- known$time > 0 & known$subject %in% recovered[1:12]
  say("cav", model, "state_2", known$pstate[some, 2], known$time[some], known$subject[some])
}
