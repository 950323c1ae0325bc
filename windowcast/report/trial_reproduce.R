# Work the means of a trial out again in R, from the tables beside this file: Rscript reproduce.R
# Needs lme4 and emmeans. Sites and blocks are random; percentages and ordinal ratings are taken as
# quasi-binomial shares by their logits, counts and weights by their logarithms.
library(lme4)
library(emmeans)
ratings <- read.csv("ratings.csv", colClasses = c(plot = "character", block = "character"))
rounds <- read.csv("rounds.csv")
for (n in seq_len(nrow(rounds))) {
  about <- rounds[n, ]
  plots <- subset(ratings, round == about$round & before == "False" & check == "")
  plots <- aggregate(value ~ site + block + plot + treatment, plots, mean)
  plots$place <- interaction(plots$site, plots$block)
  if (about$kind %in% c("percent", "ordinal")) {
    span <- about$high - about$low
    share <- pmin(pmax((plots$value - about$low) / span, 0.005), 0.995)
    plots$linear <- qlogis(share)
    back <- function(x) about$low + span * plogis(x)
  } else if (about$kind %in% c("count", "biomass")) {
    plots$linear <- log(plots$value + 0.5)
    back <- function(x) exp(x) - 0.5
  } else {
    plots$linear <- plots$value
    back <- identity
  }
  fit <- if (nlevels(plots$place) > 1) lmer(linear ~ treatment + (1 | place), plots) else lm(linear ~ treatment, plots)
  cat("\n", about$round, "\n")
  means <- summary(emmeans(fit, "treatment"))
  print(data.frame(treatment = means$treatment, mean = back(means$emmean)))
}
