# One simulated trial of bench/plan.yaml: data, fit by REML, Kenward-Roger F, all Tukey pairs
# with Kenward-Roger degrees of freedom and intervals. Usage: Rscript plan.R TRIALS
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(emmeans)})
trials <- as.integer(commandArgs(TRUE)[1])
set.seed(1)
d <- expand.grid(limb = 1:3, spray = factor(1:8), block = factor(1:6))
d$tree <- factor(as.integer(interaction(d$block, d$spray)))
trial <- function(pairs) {
  d$y <- 50 + 3 * rnorm(6)[d$block] + 3 * rnorm(48)[d$tree] + 5 * rnorm(nrow(d))
  m <- suppressMessages(lmerTest::lmer(y ~ spray + (1 | block) + (1 | tree), d))
  p <- anova(m, ddf = "Kenward-Roger")[["Pr(>F)"]]
  if (pairs)
    summary(pairs(emmeans(m, "spray", lmer.df = "kenward-roger")), infer = TRUE)
  p
}
invisible(trial(TRUE))
t <- c(0, 0)
for (i in seq_len(trials)) t[1] <- t[1] + system.time(trial(FALSE))[[3]]
for (i in seq_len(trials)) t[2] <- t[2] + system.time(trial(TRUE))[[3]]
cat(sprintf("%.6f %.6f\n", t[1] / trials, t[2] / trials))
