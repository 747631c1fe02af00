# The R side of `bench/run-trials`: simulated trials by lme4, lmerTest and pbkrtest.
# Usage: Rscript trials.R TIMED CHECKED
# The data of replicate r come from the stream of bench/park_miller.h. Prints
# `time trials SECONDS` (for TIMED replicates, default fit, Kenward-Roger p each),
# `p REPLICATE NUMBER` from a fit that goes on to the optimum (CHECKED replicates, not
# timed), `worse REPLICATE` where it is not to be had, and `y REPLICATE ROW VALUE`.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest)})
arguments <- as.integer(commandArgs(TRUE))

stream <- function(seed) {
  x <- seed
  function(n) vapply(seq_len(n), function(i) {
    x <<- (48271 * x) %% 2147483647 # exact: below 2^53
    x / 2147483647
  }, 0)
}
trial <- function(replicate) {
  u <- stream(1000003 * replicate + 17)
  block <- 2 * qnorm(u(6))
  tree <- 2 * qnorm(u(24))
  d <- expand.grid(branch = 1:5, treatment = 1:4, block = 1:6)
  d$tree <- (d$block - 1) * 4 + d$treatment
  d$y <- c(30, 30, 30, 33)[d$treatment] + block[d$block] + tree[d$tree] + 4 * qnorm(u(120))
  for (v in c("block", "treatment", "tree")) d[[v]] <- factor(d[[v]])
  d
}
fit <- function(d, control = lmerControl())
  suppressMessages(lmer(y ~ treatment + (1 | block) + (1 | tree), d, control = control))
p_of <- function(m) anova(m, ddf = "Kenward-Roger")[["Pr(>F)"]]

invisible(p_of(fit(trial(1))))
invisible(gc(FALSE))
started <- proc.time()[[3]]
for (r in seq_len(arguments[1])) p_of(fit(trial(r)))
cat(sprintf("time trials %.9f\n", proc.time()[[3]] - started))

# The default stopping rule leaves five digits of the components: go on with Newton steps
# over those above zero, and say where that does not end at a flat place.
polished <- function(fn, par, lower, upper, control = list(), ...) {
  x <- minqa::bobyqa(par, fn, lower, upper, control = list(rhobeg = 0.1, rhoend = 1e-9))$par
  free <- x > 1e-4
  x[!free] <- 0
  part <- function(z) { y <- x; y[free] <- z; fn(y) }
  if (any(free)) for (k in 1:6)
    x[free] <- x[free] - solve(numDeriv::hessian(part, x[free]), numDeriv::grad(part, x[free]))
  flat <<- !any(free) || max(abs(numDeriv::grad(part, x[free]))) < 1e-6
  list(par = x, fval = fn(x), conv = 0, convergence = 0, message = "", feval = NA)
}
for (r in seq_len(arguments[2])) {
  d <- trial(r)
  cat(sprintf("y %d.%d %.17g\n", r, seq_along(d$y), d$y), sep = "")
  p <- tryCatch(p_of(fit(d, lmerControl(optimizer = polished, calc.derivs = FALSE))),
                error = function(e) NA)
  if (is.na(p) || !flat) cat(sprintf("worse %d\n", r)) else cat(sprintf("p %d %.17g\n", r, p))
}
