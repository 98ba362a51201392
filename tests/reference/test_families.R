# SPDX-License-Identifier: GPL-3.0-or-later
# Several variables together, limits by chance, rare events, short runs, wear and values that
# remember, against base R: matrices by solve(), limits by its quantile functions, lines by lm(), the
# autoregression by arima() whose search ends at about 1e-6.
source("support.R")
options(digits = 17)
set.seed(20) # what is made up is the same on every run of one version; any numbers would do

# ---- T2 -------------------------------------------------------------------------------------------
items <- list(
  as.matrix(iris[1:50, 1:2]), as.matrix(iris[51:100, 1:3]), as.matrix(stackloss[, 1:3]),
  as.matrix(longley[, c(1, 6)]), as.matrix(trees), as.matrix(swiss[, 1:5]))
for (k in seq_along(items)) {
  X <- unname(items[[k]]); m <- nrow(X); p <- ncol(X)
  data_line(as.vector(t(X)))
  d <- diff(X)
  for (spread in c("all", "successive")) {
    S <- if (spread == "all") cov(X) else crossprod(d) / (2 * (m - 1))
    df <- if (spread == "all") m - 1 else 2 * (m - 1)^2 / (3 * m - 4)
    for (alpha in c(0.0027, 0.05))
      compare(paste("joint", p, spread, alpha),
              c(colMeans(X), as.vector(S), df,
                (m - 1)^2 / m * qbeta(1 - alpha, p / 2, (m - 1 - p) / 2),
                (m + 1) / m * df * p / (df - p + 1) * qf(1 - alpha, p, df - p + 1)), 1e-9,
              name = paste("joint", k, spread, alpha))
    x <- colMeans(X) + c(2.2, -1.4, 0.3, 1, -2)[1:p] * apply(X, 2, sd)
    T2 <- function(i) { e <- (x - colMeans(X))[i]; drop(e %*% solve(S[i, i, drop = FALSE], e)) }
    whole <- T2(1:p)
    compare(paste("distance", p, spread, text_of(x)),
            c(whole, pf(whole * m / (m + 1) * (df - p + 1) / df / p, p, df - p + 1, lower.tail = FALSE),
              as.vector(rbind(sapply(1:p, T2), sapply(1:p, function(j) whole - T2((1:p)[-j]))))),
            1e-7, name = paste("distance", k, spread))
  }
  for (exact in 0:1) {
    z <- rep(0, p); q <- numeric(m); lambda <- 0.2
    for (i in 1:m) {
      z <- lambda * (X[i, ] - colMeans(X)) + (1 - lambda) * z
      f <- lambda / (2 - lambda) * (if (exact) 1 - (1 - lambda)^(2 * i) else 1)
      q[i] <- drop(z %*% solve(f * cov(X), z))
    }
    compare(paste("mewma", p, lambda, exact), q, 1e-7, name = paste("mewma", k, exact))
  }
}

# ---- limits by chance -----------------------------------------------------------------------------
tail <- pnorm(-3)
for (n in c(20, 50, 500, 96000)) for (rate in c(1e-4, 0.01, 0.2313)) {
  u <- qbinom(tail, n, rate, lower.tail = FALSE); l <- qbinom(tail, n, rate)
  compare(paste("counts 1", text_of(c(rate, n, tail))),
          c(if (l > 0) l else NA, u, if (l > 0) pbinom(l - 1, n, rate) else 0,
            pbinom(u, n, rate, lower.tail = FALSE)), 1e-10, name = paste("binomial", n, rate))
}
for (mean in c(0.02, 1.4, 16, 19.8461538461538, 400)) for (n in c(1, 12.5)) {
  u <- qpois(tail, mean * n, lower.tail = FALSE); l <- qpois(tail, mean * n)
  compare(paste("counts 0", text_of(c(mean, n, tail))),
          c(if (l > 0) l else NA, u, if (l > 0) ppois(l - 1, mean * n) else 0,
            ppois(u, mean * n, lower.tail = FALSE)), 1e-10, name = paste("poisson", mean, n))
}
for (row in list(c(1.1, 24, 2.6, 19), c(3, 40, 0.9, 8), c(1, 10, 1, 10)))
  compare(paste("scatter", text_of(row)),
          c(row[3] / row[1], row[3] / row[1] / qf(0.975, row[4], row[2]),
            row[3] / row[1] * qf(0.975, row[2], row[4]),
            min(1, 2 * min(pf(row[3] / row[1], row[4], row[2]),
                           pf(row[3] / row[1], row[4], row[2], lower.tail = FALSE)))), 1e-9)

# ---- rare events ------------------------------------------------------------------------------------
for (mean in c(20, 100, 1000)) for (r in c(1, 3)) for (x in c(5, 60, 5000)) {
  p <- 1 / mean
  l <- r + qnbinom(tail, r, p); u <- r + qnbinom(tail, r, p, lower.tail = FALSE)
  F <- function(q, low) pnbinom(q - r, r, p, lower.tail = low)
  low <- F(x, TRUE); high <- F(x - 1, FALSE)
  z <- if (low <= tail) qnorm(low) else if (high <= tail) -qnorm(high) else {
    a <- 0.5 * (low + F(x - 1, TRUE)); b <- 0.5 * (high + F(x, FALSE))
    if (a < b) qnorm(a) else -qnorm(b)
  }
  compare(paste("gap 0", text_of(c(mean, x, r, 3))),
          c(x / r, (r + qnbinom(0.5, r, p)) / r, if (l > r) l / r else NA, u / r,
            if (l > r) F(l - 1, TRUE) else 0, F(u, FALSE), z), 1e-9,
          name = paste("trials", mean, r, x))
  G <- function(q, low) pgamma(q, r, p, lower.tail = low)
  compare(paste("gap 1", text_of(c(mean, x + 0.25, r, 3))),
          c((x + 0.25) / r, qgamma(c(0.5, tail), r, p) / r,
            qgamma(tail, r, p, lower.tail = FALSE) / r, tail, tail,
            if (G(x + 0.25, TRUE) < 0.5) qnorm(G(x + 0.25, TRUE)) else
              -qnorm(G(x + 0.25, FALSE))), 1e-9, name = paste("time", mean, r, x))
}
for (mean in c(1, 100)) {
  moment <- function(k) integrate(function(x) x^(k / 3.6) * dexp(x, 1 / mean), 0, Inf,
                                  rel.tol = 1e-11, subdivisions = 2000)$value
  compare(paste("power", mean), c(moment(1), sqrt(moment(2) - moment(1)^2)), 1e-8)
}
for (s in c(1, 2, 4, 16, 40))
  compare(paste("heads", s, 3), -qnorm((1 - (1 - 2 * pnorm(-3))^(1 / s)) / 2), 1e-11)

# ---- wear ---------------------------------------------------------------------------------------------
for (k in 1:4) {
  life <- rep(seq(50, 50 * (6 + k), by = 50), 4)
  tool <- rep(1:4, each = 6 + k)
  y <- 12 + 0.004 * k * life + rnorm(length(life), sd = 0.2) + c(0, 0.3, -0.2, 0.1)[tool] * (k - 1)
  line <- lm(y ~ life); m <- length(y); s <- summary(line)$sigma
  at <- 420; limit <- 12 + 0.004 * k * 900
  use <- (m - 5):m
  b <- coef(line)[[2]]; se <- coef(summary(line))[2, 2]
  up <- limit - mean(y[use]); t <- qt(0.975, m - 2)
  # Fieller's bounds as the roots of (up - r b)^2 = t^2 (s^2 / n + r^2 se^2)
  A <- b^2 - t^2 * se^2; B <- -2 * up * b; C <- up^2 - t^2 * s^2 / 6
  roots <- sort((-B + c(-1, 1) * sqrt(B^2 - 4 * A * C)) / (2 * A))
  pred <- predict(line, data.frame(life = at), se.fit = TRUE)
  tools <- anova(lm(resid(line) ~ 1), lm(resid(line) ~ factor(tool)))
  q <- tools[2, 4] / 3 / (tools[2, 2] / (m - 4 - 1))
  data_line(as.vector(rbind(life, y)))
  compare(paste("wear", at, text_of(limit), 0.95),
          c(coef(line), s, se, coef(summary(line))[2, 4], pred$fit, sqrt(pred$se.fit^2 + s^2),
            mean(life[use]) + up / b, mean(life[use]) + roots,
            pf(q, 3, m - 4 - 1, lower.tail = FALSE)), 1e-8, name = paste("wear", k))
}

# ---- values that remember --------------------------------------------------------------------------------
series <- list(as.numeric(lh), as.numeric(Nile), as.numeric(LakeHuron), as.numeric(LakeHuron) + 1e6,
               as.numeric(nhtemp), diff(as.numeric(lh)), rnorm(60))
for (k in seq_along(series)) {
  x <- series[[k]]
  fit <- arima(x - mean(x), order = c(1, 0, 0), method = "ML", optim.control = list(reltol = 1e-14))
  data_line(x)
  compare("remember", c(coef(fit)[[1]], NA, fit$sigma2, fit$loglik), 2e-6, 1e-6,
          name = paste("autoregression", k))
  # the same likelihood by its own determinant and quadratic form, at our estimates' neighbourhood
  phi <- optimize(function(phi) {
    n <- length(x); V <- phi^abs(outer(1:n, 1:n, "-")) / (1 - phi^2); W <- solve(V)
    e <- x - mean(x); mu <- sum(W %*% e) / sum(W); q <- drop((e - mu) %*% W %*% (e - mu))
    -n / 2 * log(q / n) - as.numeric(determinant(V)$modulus) / 2
  }, c(-0.99, 0.99), maximum = TRUE, tol = 1e-10)$maximum
  n <- length(x); V <- phi^abs(outer(1:n, 1:n, "-")) / (1 - phi^2); W <- solve(V)
  e <- x - mean(x); mu <- sum(W %*% e) / sum(W)
  compare("remember", c(phi, mean(x) + mu, drop((e - mu) %*% W %*% (e - mu)) / n, NA), 1e-6, 1e-7,
          name = paste("generalised least squares", k))
  for (lags in c(1, 6, 10)) {
    box <- Box.test(x, lags, "Ljung-Box", fitdf = as.numeric(lags > 1))
    compare(paste("portmanteau", lags, as.numeric(lags > 1)),
            c(box$statistic, box$parameter,
              pchisq(box$statistic, box$parameter, lower.tail = FALSE)), 1e-8,
            name = paste("portmanteau", k, lags))
  }
}
finish(1400)
