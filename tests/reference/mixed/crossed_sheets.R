# Rscript crossed_sheets.R > crossed_sheets.json   (R with lme4 and pbkrtest; versions are in the output)
suppressMessages({library(lme4); library(pbkrtest); library(jsonlite)})
options(contrasts = c("contr.sum", "contr.poly"))
d <- read.csv("crossed_sheets.csv", stringsAsFactors = TRUE)
d$x <- (d$pressure_bar - 0.7) / 0.2
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 2e-3, rhoend = 1e-12, maxfun = 2e5))
m <- lmer(log(rz5_um) ~ type * x + I(x^2) + (1 | specimen) + (1 | mount) + (1 | sheet) + (1 | coupon), d, control = control)
m <- lmer(formula(m), d, control = control, start = getME(m, "theta"))
va <- vcovAdj(m)
one <- function(L) { q <- KRmodcomp(m, L)$test["Ftest", ]; list(df = q$ndf, F = q$stat, den_df = q$ddf, p = q$p.value) }
b <- fixef(m); k <- length(b)
pick <- function(ix) { L <- matrix(0, length(ix), k); L[cbind(seq_along(ix), ix)] <- 1; L }
term <- attr(getME(m, "X"), "assign")
vc <- as.data.frame(VarCorr(m))
cat(toJSON(list(
  versions = list(R = R.version.string, lme4 = as.character(packageVersion("lme4")), pbkrtest = as.character(packageVersion("pbkrtest"))),
  reml_criterion = REMLcrit(m), variances = as.list(setNames(vc$vcov, sub("Residual", "reading", vc$grp))),
  columns = names(b), estimate = unname(b), se = unname(sqrt(diag(as.matrix(va)))), se_unadjusted = unname(sqrt(diag(as.matrix(vcov(m))))),
  df = sapply(seq_len(k), function(j) Lb_ddf(pick(j), vcov(m), va)),
  tests = setNames(lapply(1:4, function(t) one(pick(which(term == t)))), attr(terms(m), "term.labels"))
), digits = I(15), auto_unbox = TRUE, pretty = TRUE))
