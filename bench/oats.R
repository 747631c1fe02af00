# The R side of `bench/run`: the oats split plot by lme4, lmerTest, pbkrtest and emmeans.
# Usage: Rscript oats.R DATA.csv REPEATS
# Prints `time WHAT SECONDS` (one line a repeat, start-up and a first run left out),
# `value KEY NUMBER`, and `memory KIB` (the process's peak).
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(emmeans)})
arguments <- commandArgs(TRUE)
repeats <- as.integer(arguments[2])
d <- read.csv(arguments[1])
for (f in c("block", "variety", "nitrogen")) d[[f]] <- factor(d[[f]])
factors <- c("variety", "nitrogen")

fit <- function(control = lmerControl())
  lmer(yield ~ variety * nitrogen + (1 | block) + (1 | block:variety), d, control = control)
tests <- function(m) anova(m, ddf = "Kenward-Roger")
pairs_of <- function(m, f) {
  e <- suppressMessages(emmeans(m, f, lmer.df = "kenward-roger"))
  list(means = summary(e, infer = TRUE), pairs = summary(pairs(e), infer = TRUE))
}
whole <- function() {
  m <- fit()
  tests(m)
  for (f in factors) pairs_of(m, f)
}

time <- function(what, f) {
  f()
  gc(FALSE)
  for (i in seq_len(repeats)) {
    t <- system.time(f(), gcFirst = FALSE)[[3]]
    cat(sprintf("time %s %.9f\n", what, t))
  }
}
value <- function(key, x) cat(sprintf("value %s %.17g\n", key, x))

time("whole", whole)
time("fit", fit)

# The default stopping rule leaves five digits of the variance components; the numbers to be
# compared come from an optimiser that goes on with Newton steps (not timed).
polished <- function(fn, par, lower, upper, control = list(), ...) {
  x <- minqa::bobyqa(par, fn, lower, upper, control = list(rhobeg = 0.1, rhoend = 1e-9))$par
  for (k in 1:6) x <- x - solve(numDeriv::hessian(fn, x), numDeriv::grad(fn, x))
  list(par = x, fval = fn(x), conv = 0, convergence = 0, message = "", feval = NA)
}
m <- fit(lmerControl(optimizer = polished, calc.derivs = FALSE))
a <- tests(m)
for (term in rownames(a)) {
  value(paste0("F.", term), a[term, "F value"])
  value(paste0("df.", term), a[term, "DenDF"])
  value(paste0("p.", term), a[term, "Pr(>F)"])
}
for (f in factors) {
  r <- pairs_of(m, f)
  for (i in seq_len(nrow(r$means))) {
    level <- as.character(r$means[[f]][i])
    value(paste0("mean.", level), r$means$emmean[i])
    value(paste0("mean_se.", level), r$means$SE[i])
    value(paste0("mean_df.", level), r$means$df[i])
  }
  pair <- gsub("nitrogen| |\\(|\\)", "", as.character(r$pairs$contrast)) # "A-B" is A minus B
  for (i in seq_along(pair)) {
    value(paste0("difference.", pair[i]), r$pairs$estimate[i])
    value(paste0("p_adjusted.", pair[i]), r$pairs$p.value[i])
  }
}
status <- readLines("/proc/self/status")
peak <- grep("^VmHWM:", status, value = TRUE)
cat("memory", gsub("[^0-9]", "", peak), "\n")
