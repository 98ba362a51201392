# SPDX-License-Identifier: GPL-3.0-or-later
# Components of variance and gauge studies against R: mean squares by aov() and by projections, REML by
# nlme::lme() (its search ends at about 1e-6 of a variance) and by the likelihood written out with whole
# matrices, lines by lm(), t tests, exact bounds by binom.test(); kappas from their definitions.
source("support.R")
suppressMessages(library(nlme))
options(digits = 17)
set.seed(31)

long <- function(groups, y) as.vector(t(cbind(groups, y)))

# ---- nested -----------------------------------------------------------------------------------------
make <- function(lots, items, sites, sd, uneven) {
  rows <- NULL
  for (l in 1:lots) { a <- rnorm(1, 0, sd[1])
    for (i in 1:(items + uneven * l %% 3)) { b <- rnorm(1, 0, sd[2])
      for (s in 1:(sites + uneven * (l + i) %% 2)) rows <- rbind(rows, c(l, i, 50 + a + b + rnorm(1, 0, sd[3]))) } }
  data.frame(lot = rows[, 1], item = rows[, 2], y = rows[, 3])
}
sets <- list(make(8, 3, 3, c(2, 1, .5), 0), make(9, 3, 2, c(2, 1, .5), 1), make(12, 2, 2, c(.5, 2, 1), 1),
             make(7, 4, 2, c(1, .4, 1.5), 1), make(15, 2, 4, c(3, 1, .1), 1))
for (k in seq_along(sets)) {
  d <- sets[[k]]; d$lot <- factor(d$lot); d$cell <- interaction(d$lot, d$item, drop = TRUE)
  data_line(long(cbind(as.integer(d$lot), as.integer(d$item)), d$y))
  # squares and expectations by projections: E(y'Ay) = sum of variance * trace(A Z Z')
  P <- function(f) { X <- model.matrix(~ f - 1); X %*% solve(crossprod(X), t(X)) }
  n <- nrow(d); J <- matrix(1 / n, n, n); Pl <- P(d$lot); Pc <- P(d$cell)
  A <- list(Pl - J, Pc - Pl, diag(n) - Pc)
  Z <- list(tcrossprod(model.matrix(~ d$lot - 1)), tcrossprod(model.matrix(~ d$cell - 1)), diag(n))
  ss <- sapply(A, function(a) drop(d$y %*% a %*% d$y)); df <- sapply(A, function(a) sum(diag(a)))
  E <- sapply(Z, function(z) sapply(A, function(a) sum(a * z)))
  compare("nested squares 2", c(solve(E, ss), mean(d$y), as.vector(rbind(df, ss))), 1e-9, 1e-10,
          name = paste("nested by squares", k))
  fit <- lme(y ~ 1, d, ~ 1 | lot / item, control = lmeControl(msTol = 1e-10, tolerance = 1e-9,
             maxIter = 200, msMaxIter = 500, returnObject = TRUE))
  v <- as.numeric(VarCorr(fit)[c(2, 4, 5), "Variance"])
  compare("nested reml 2", c(v, fixef(fit), sqrt(vcov(fit)), as.numeric(logLik(fit))), 2e-4, 1e-6,
          name = paste("nested by lme", k))
  # the likelihood with whole matrices, climbed from R's own estimate; a component at zero stays there
  free <- which(v > 1e-6 * sum(v)); all_of <- Z; Z <- Z[free]; m <- length(free)
  deviance <- function(log_v) { V <- Reduce(`+`, Map(`*`, exp(log_v), Z)); W <- chol2inv(chol(V))
    s <- sum(W); mu <- sum(W %*% d$y) / s; e <- d$y - mu
    as.numeric(determinant(V)$modulus) + log(s) + drop(e %*% W %*% e) + (n - 1) * log(2 * pi) }
  # gradient: trace(P Z) - y' P Z P y
  gradient <- function(log_v) { V <- Reduce(`+`, Map(`*`, exp(log_v), Z)); W <- chol2inv(chol(V))
    Q <- W - tcrossprod(rowSums(W)) / sum(W); q <- Q %*% d$y
    sapply(1:m, function(i) exp(log_v[i]) * (sum(Q * Z[[i]]) - drop(t(q) %*% Z[[i]] %*% q))) }
  at <- log(v[free])
  for (step in 1:30) {
    g <- gradient(at)
    H <- sapply(1:m, function(i) { h <- 1e-5; u <- replace(numeric(m), i, h); (gradient(at + u) - gradient(at - u)) / (2 * h) })
    at <- at - solve((H + t(H)) / 2, g)
  }
  V <- Reduce(`+`, Map(`*`, exp(at), Z)); W <- solve(V)
  compare("nested reml 2", c(replace(numeric(3), free, exp(at)), sum(W %*% d$y) / sum(W), 1 / sqrt(sum(W)), -deviance(at) / 2), 1e-8,
          name = paste("nested by whole matrices", k))
}

# ---- crossed ----------------------------------------------------------------------------------------
for (k in 1:6) {
  parts <- c(10, 5, 20, 3, 8, 6)[k]; people <- c(3, 2, 3, 4, 2, 5)[k]; repeats <- c(3, 4, 2, 2, 3, 2)[k]
  d <- expand.grid(r = 1:repeats, o = factor(1:people), p = factor(1:parts))
  d$y <- 10 + rnorm(parts, 0, 2)[d$p] + rnorm(people, 0, .5)[d$o] + rnorm(parts * people, 0, .4)[(as.integer(d$p) - 1) * people + as.integer(d$o)] + rnorm(nrow(d), 0, .5)
  data_line(d$y)
  full <- anova(lm(y ~ p * o, d)); main <- anova(lm(y ~ p + o, d))
  ms <- full[["Mean Sq"]]; F <- c(ms[1] / ms[3], ms[2] / ms[3], ms[3] / ms[4])
  p <- pf(F, full$Df[1:3], full$Df[c(3, 3, 4)], lower.tail = FALSE)
  compare(paste("crossed", parts, people, repeats, 0),
          c(as.vector(rbind(full$Df[1:3], full[["Sum Sq"]][1:3], F, p)), ms[4],
            (ms[2] - ms[3]) / (parts * repeats), (ms[1] - ms[3]) / (people * repeats)), 1e-9, name = paste("crossed", k))
  ms <- main[["Mean Sq"]]
  compare(paste("crossed", parts, people, repeats, 1),
          c(as.vector(rbind(main$Df[1:2], main[["Sum Sq"]][1:2], main[["F value"]][1:2], main[["Pr(>F)"]][1:2])),
            main$Df[3], main[["Sum Sq"]][3], ms[3], (ms[2] - ms[3]) / (parts * repeats), (ms[1] - ms[3]) / (people * repeats)), 1e-9,
          name = paste("crossed, pooled", k))
}

# ---- bias, linearity --------------------------------------------------------------------------------
for (k in 1:5) {
  x <- rnorm(c(5, 10, 20, 12, 50)[k], 6.1, .2); data_line(x)
  t <- t.test(x, mu = 6)
  compare("bias 6", c(mean(x) - 6, t$statistic, t$p.value, t$conf.int - 6), 1e-9, name = paste("bias", k))
  reference <- rep(c(2, 4, 6, 8, 10), each = 4); y <- reference + .5 - .05 * reference + rnorm(20, 0, .2)
  data_line(c(reference, y))
  fit <- lm(y - reference ~ reference); s <- summary(fit); b <- coef(s)
  lack <- anova(fit, lm(y - reference ~ factor(reference)))
  compare("linearity 7", c(b[1, 1], b[2, 1], b[1, 2], b[2, 2], b[2, 3], b[2, 4], b[1, 4], s$sigma, s$r.squared,
          predict(fit, data.frame(reference = 7), interval = "confidence")[2:3], lack$F[2], lack$`Pr(>F)`[2]), 1e-8,
          name = paste("linearity", k))
}

# ---- agreement --------------------------------------------------------------------------------------
for (n in c(5, 20, 50)) for (a in c(0, 1, n %/% 2, n)) compare(paste("share", a, n), as.vector(binom.test(a, n)$conf.int), 1e-9)
for (k in 1:6) {
  categories <- c(2, 2, 3, 3, 4, 5)[k]; n <- c(40, 100, 60, 120, 80, 200)[k]
  a <- sample(0:(categories - 1), n, TRUE); b <- ifelse(runif(n) < .7, a, sample(0:(categories - 1), n, TRUE))
  data_line(c(a, b))
  p <- table(factor(a, 0:(categories - 1)), factor(b, 0:(categories - 1))) / n
  po <- sum(diag(p)); r <- rowSums(p); s <- colSums(p); pe <- sum(r * s); kappa <- (po - pe) / (1 - pe)
  # delta method by numerical derivatives of kappa in the cells
  K <- function(q) { q <- matrix(q, categories); (sum(diag(q)) / sum(q) - sum(rowSums(q) * colSums(q)) / sum(q)^2) / (1 - sum(rowSums(q) * colSums(q)) / sum(q)^2) }
  D <- function(p) sapply(seq_along(p), function(i) { h <- 1e-5; u <- replace(numeric(length(p)), i, h); (K(p + u) - K(p - u)) / (2 * h) })
  se <- function(at) { g <- D(at); sqrt((sum(at * g^2) - sum(at * g)^2) / n) }
  compare(paste("cohen", categories), c(po, pe, kappa, se(as.vector(p)), se(as.vector(outer(r, s)))), 1e-6, name = paste("cohen", k))
  items <- 15; raters <- 6
  counts <- t(sapply(1:items, function(i) tabulate(sample(categories, raters, TRUE, prob = runif(categories)^3), categories)))
  data_line(as.vector(t(counts)))
  fleiss <- function(x) { q <- colSums(x) / sum(x); (sum(x * (x - 1)) / (nrow(x) * raters * (raters - 1)) - sum(q^2)) / (1 - sum(q^2)) }
  jack <- function(f, x) { j <- sapply(1:items, function(i) f(x[-i, ])); sqrt((items - 1) / items * sum((j - mean(j))^2)) }
  q <- colSums(counts) / sum(counts)
  zero <- sqrt(2 / (items * raters * (raters - 1))) * sqrt(sum(q * (1 - q))^2 - sum(q * (1 - q) * (1 - 2 * q))) / sum(q * (1 - q))
  compare(paste("fleiss", categories, categories), c(fleiss(counts), jack(fleiss, counts), zero), 1e-8, name = paste("fleiss", k))
  one <- cbind(counts[, 1], raters - counts[, 1])
  compare(paste("fleiss", categories, 0), c(fleiss(one), jack(fleiss, one), sqrt(2 / (items * raters * (raters - 1)))), 1e-8,
          name = paste("fleiss of one", k))
}
# ---- equal spread -------------------------------------------------------------------------------------
for (k in 1:12) {
  sizes <- list(c(5, 5, 5), c(2, 7, 3, 9), rep(10, 10), c(30, 4), rep(3, 20), 3:12)[[1 + k %% 6]]
  g <- factor(rep(seq_along(sizes), sizes)); y <- rnorm(length(g), 100, runif(length(sizes), .5, 2)[g])
  data_line(y)
  a <- anova(lm(abs(y - ave(y, g, FUN = median)) ~ g))
  compare(paste("spread", paste(sizes, collapse = " ")), c(a$F[1], a$Df, a$`Pr(>F)`[1]), 1e-8, name = paste("spread", k))
}
finish(348)
