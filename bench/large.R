# The R side of `bench/run-large`: 200 sites x 50 treatments, trees in each, branches on
# trees, by lme4. Usage: Rscript large.R ROWS crossed|fixed
# Data: the same numbers in the same order as bench/large.c (bench/park_miller.h). Prints
# `sum Y`, `time fit SECONDS`, `criterion C`, `memory data KIB`, `memory peak KIB`.
suppressMessages(library(lme4))
arguments <- commandArgs(TRUE)
rows <- as.numeric(arguments[1])
fixed <- arguments[2] == "fixed"
sites <- 200
treatments <- 50

x <- 20260101
normals <- function(n) {
  u <- numeric(n)
  for (i in seq_len(n)) {
    x <<- (48271 * x) %% 2147483647 # exact: below 2^53
    u[i] <- x / 2147483647
  }
  qnorm(u)
}
peak <- function() {
  status <- grep("^VmHWM:", readLines("/proc/self/status"), value = TRUE)
  gsub("[^0-9]", "", status)
}

per <- rows / (sites * treatments)
trees <- if (per == 10) 5 else 10
site <- rep(seq_len(sites), each = treatments * per)
treatment <- rep(rep(seq_len(treatments), each = per), sites)
cell <- rep(seq_len(sites * treatments), each = per)
tree <- rep(seq_len(sites * treatments * trees), each = per / trees)
effect <- 3 * normals(sites)
y <- 100 + effect[site]
effect <- 2 * normals(treatments)
y <- y + effect[treatment]
effect <- normals(sites * treatments)
y <- y + effect[cell]
effect <- 1.5 * normals(sites * treatments * trees)
y <- y + effect[tree]
y <- y + 4 * normals(rows)
d <- data.frame(site = factor(site), treatment = factor(treatment), cell = factor(cell),
                tree = factor(tree), y = y)
rm(site, treatment, cell, tree, y)
invisible(gc())
cat(sprintf("sum %.17g\n", sum(d$y)))
cat("memory data", peak(), "\n")
model <- if (fixed) y ~ treatment + (1 | site) + (1 | cell) + (1 | tree) else
  y ~ 1 + (1 | site) + (1 | treatment) + (1 | tree)
t <- system.time(m <- lmer(model, d, control = lmerControl(calc.derivs = FALSE)))[[3]]
cat(sprintf("time fit %.9f\n", t))
cat(sprintf("criterion %.17g\n", REMLcrit(m)))
cat("memory peak", peak(), "\n")
