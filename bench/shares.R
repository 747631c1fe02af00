# The R side of `bench/run-shares`: binomial models with random trees by lme4.
# Usage: Rscript shares.R fit REPEATS | trials TIMED | bootstrap SAMPLES
# Data from the stream of bench/park_miller.h. Prints `time WHAT SECONDS`, `value KEY NUMBER`
# and, of each trial, `lrt REPLICATE NUMBER` and `y REPLICATE.ROW VALUE`. Numbers that are
# compared come from fits that go on to the optimum (default stopping leaves about six digits
# of the log-likelihood); those that are timed are the default ones.
suppressMessages(library(lme4))
arguments <- commandArgs(TRUE)
what <- arguments[1]
count <- as.integer(arguments[2])

stream <- function(seed) {
  x <- seed
  function(n) vapply(seq_len(n), function(i) {
    x <<- (48271 * x) %% 2147483647 # exact: below 2^53
    x / 2147483647
  }, 0)
}
crd <- function() {
  u <- stream(20250101)
  d <- expand.grid(branch = 1:6, tree = 1:10, treatment = 1:8)
  d$tree <- (d$treatment - 1) * 10 + d$tree
  effect <- 0.5 * qnorm(u(80))
  d$n <- 20
  d$k <- qbinom(u(480), 20, plogis(seq(-1, 0.4, length.out = 8)[d$treatment] + effect[d$tree]))
  for (v in c("treatment", "tree")) d[[v]] <- factor(d[[v]])
  d
}
blocks <- function(seed) {
  u <- stream(seed)
  block <- 0.3 * qnorm(u(8))
  tree <- 0.4 * qnorm(u(32))
  d <- expand.grid(branch = 1:6, treatment = 1:4, block = 1:8)
  d$tree <- (d$block - 1) * 4 + d$treatment
  d$n <- 20
  d$k <- qbinom(u(192), 20, plogis(c(-0.5, -0.5, -0.5, 0.2)[d$treatment] + block[d$block] + tree[d$tree]))
  for (v in c("block", "treatment", "tree")) d[[v]] <- factor(d[[v]])
  d
}
quiet <- function(x) suppressMessages(suppressWarnings(x))
whole <- function(d, ...) quiet(glmer(cbind(k, n - k) ~ treatment + (1 | block) + (1 | tree), d, binomial, ...))
null <- function(d, ...) quiet(glmer(cbind(k, n - k) ~ 1 + (1 | block) + (1 | tree), d, binomial, ...))
ratio <- function(a, b) 2 * (as.numeric(logLik(a)) - as.numeric(logLik(b)))
value <- function(key, x) cat(sprintf("value %s %.17g\n", key, x))
time <- function(f) system.time(f(), gcFirst = FALSE)[[3]]

# On to the optimum: inner iterations to rounding, outer ones by tight BOBYQA.
fine <- glmerControl(optimizer = "bobyqa", tolPwrss = 1e-13, calc.derivs = FALSE,
                     optCtrl = list(rhobeg = 0.05, rhoend = 1e-9, maxfun = 1e5))

if (what == "fit") {
  d <- crd()
  fit <- function(...) glmer(cbind(k, n - k) ~ treatment + (1 | tree), d, binomial, ...)
  invisible(fit())
  for (i in seq_len(count)) cat(sprintf("time fit %.9f\n", time(function() fit())))
  m <- fit(control = fine)
  value("sum", sum(d$k))
  value("log_likelihood", as.numeric(logLik(m)))
  value("sd", sqrt(VarCorr(m)$tree[1]))
  for (j in 1:8) value(paste0("beta", j - 1), fixef(m)[[j]])
}
if (what == "trials") {
  invisible(null(blocks(17)))
  seed <- function(r) 1000003 * r + 17
  t <- time(function() for (r in seq_len(count)) { d <- blocks(seed(r)); ratio(whole(d), null(d)) })
  cat(sprintf("time trials %.9f\n", t))
  for (r in seq_len(count)) {
    d <- blocks(seed(r))
    cat(sprintf("y %d.%d %.17g\n", r, seq_along(d$k), d$k), sep = "")
    cat(sprintf("lrt %d %.17g\n", r, ratio(whole(d, control = fine), null(d, control = fine))))
  }
}
if (what == "bootstrap") {
  d <- blocks(2001)
  m1 <- whole(d)
  m0 <- null(d)
  value("lrt", ratio(whole(d, control = fine), null(d, control = fine)))
  set.seed(1)
  y <- simulate(m0, count)
  t <- time(function() for (r in seq_len(count)) quiet(ratio(refit(m1, y[[r]]), refit(m0, y[[r]]))))
  cat(sprintf("time bootstrap %.9f\n", t))
}
