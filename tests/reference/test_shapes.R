# SPDX-License-Identifier: GPL-3.0-or-later
# Fitted shapes, capability, tolerance, position, counts and robust estimators against base R.
# Exact functions at 1e-8 or better; parameters found by search (optim, optimize, uniroot) at the
# agreement stated with them: R's search ends earlier than ours.
source("support.R")
options(digits = 17)

# ---- tails, densities, percentiles --------------------------------------------------------------
xs <- c(0.02, 0.4, 1, 2.7, 9)
ps <- c(1e-9, 0.00135, 0.3, 0.5, 0.99865)
tail <- function(name, par, F, f, Q, x, p)
  compare(paste("tail", name, text_of(c(par, x, p))),
          c(F(x, TRUE), F(x, FALSE), f(x), Q(p, TRUE), Q(p, FALSE)), 1e-9,
          name = paste("tail", name, x))
for (i in 1:5) {
  x <- xs[i]; p <- ps[i]
  tail("normal", c(1, 2), function(x, l) pnorm(x, 1, 2, l), function(x) dnorm(x, 1, 2, TRUE),
       function(p, l) qnorm(p, 1, 2, l), x, p)
  tail("lognormal", c(0.3, 0.7), function(x, l) plnorm(x, 0.3, 0.7, l),
       function(x) dlnorm(x, 0.3, 0.7, TRUE), function(p, l) qlnorm(p, 0.3, 0.7, l), x, p)
  tail("lognormal_3", c(0.3, 0.7, -2), function(x, l) plnorm(x + 2, 0.3, 0.7, l),
       function(x) dlnorm(x + 2, 0.3, 0.7, TRUE), function(p, l) qlnorm(p, 0.3, 0.7, l) - 2, x, p)
  tail("weibull", c(1.5, 2), function(x, l) pweibull(x, 1.5, 2, l),
       function(x) dweibull(x, 1.5, 2, TRUE), function(p, l) qweibull(p, 1.5, 2, l), x, p)
  tail("weibull_3", c(1.5, 2, -1), function(x, l) pweibull(x + 1, 1.5, 2, l),
       function(x) dweibull(x + 1, 1.5, 2, TRUE), function(p, l) qweibull(p, 1.5, 2, l) - 1, x, p)
  tail("gamma", c(2.5, 0.8), function(x, l) pgamma(x, 2.5, scale = 0.8, lower.tail = l),
       function(x) dgamma(x, 2.5, scale = 0.8, log = TRUE),
       function(p, l) qgamma(p, 2.5, scale = 0.8, lower.tail = l), x, p)
  tail("rayleigh", 1.3, function(x, l) pweibull(x, 2, 1.3 * sqrt(2), l),
       function(x) dweibull(x, 2, 1.3 * sqrt(2), TRUE),
       function(p, l) qweibull(p, 2, 1.3 * sqrt(2), l), x, p)
  # |X|, X normal: its square over the variance is noncentral chi-square with one degree of freedom
  mu <- 0.8; s <- 1.1
  # small chances by the density's integral: a difference of two chances would lose its digits
  fold <- function(x, l) if (l && x < 0.5)
    integrate(function(t) dnorm(t, mu, s) + dnorm(-t, mu, s), 0, x, rel.tol = 1e-12)$value
    else if (l) pnorm(x, mu, s) - pnorm(-x, mu, s) else
    pnorm(x, mu, s, FALSE) + pnorm(-x, mu, s)
  foldq <- function(p, l) uniroot(function(q) log(fold(exp(q), l)) - log(p), c(-30, 4),
                                  tol = 1e-14)$root
  tail("folded_normal", c(mu, s), fold,
       function(x) log(dnorm(x, mu, s) + dnorm(-x, mu, s)), function(p, l) exp(foldq(p, l)), x, p)
  su <- function(x) 0.5 + 1.4 * asinh((x - 1) / 0.6)
  tail("johnson_su", c(0.5, 1.4, 1, 0.6), function(x, l) pnorm(su(x), lower.tail = l),
       function(x) dnorm(su(x), log = TRUE) + log(1.4 / 0.6 / sqrt(1 + ((x - 1) / 0.6)^2)),
       function(p, l) 1 + 0.6 * sinh((qnorm(p, lower.tail = l) - 0.5) / 1.4), x, p)
  sb <- function(x) 0.5 + 0.9 * log((x + 1) / (11 - x))
  tail("johnson_sb", c(0.5, 0.9, -1, 12), function(x, l) pnorm(sb(x), lower.tail = l),
       function(x) dnorm(sb(x), log = TRUE) + log(0.9 * 12 / ((x + 1) * (11 - x))),
       function(p, l) -1 + 12 * plogis((qnorm(p, lower.tail = l) - 0.5) / 0.9), x, p)
  sl <- function(x) -0.4 + 1.6 * log(x + 0.5)
  tail("johnson_sl", c(-0.4, 1.6, -0.5), function(x, l) pnorm(sl(x), lower.tail = l),
       function(x) dnorm(sl(x), log = TRUE) + log(1.6 / (x + 0.5)),
       function(p, l) -0.5 + exp((qnorm(p, lower.tail = l) + 0.4) / 1.6), x, p)
}

# ---- maximum likelihood ----------------------------------------------------------------------------
# Climbs with optim from several starts; answers parameters and the height.
climb <- function(height, start) {
  f <- function(p) { v <- suppressWarnings(height(p)); if (is.finite(v)) -v else 1e10 }
  p <- start
  for (i in 1:6) p <- optim(p, f, control = list(reltol = 1e-16, maxit = 4000))$par
  p <- optim(p, f, method = "BFGS", control = list(reltol = 1e-16, maxit = 500,
             ndeps = rep(1e-5, length(p))))$par
  list(par = p, height = -f(p))
}
sets <- list(rivers = as.numeric(rivers), precip = as.numeric(precip), nile = as.numeric(Nile),
             trees = trees$Volume, faithful = faithful$waiting / 10,
             quakes = quakes$stations[1:200], airquality = na.omit(airquality$Ozone),
             islands = as.numeric(islands))
for (name in names(sets)) {
  x <- as.numeric(sets[[name]])
  n <- length(x)
  data_line(x)
  note <- function(shape) paste("fit", shape, "to", name)
  s <- sqrt(mean((log(x) - mean(log(x)))^2))
  compare("fit lognormal", c(mean(log(x)), s, sum(dlnorm(x, mean(log(x)), s, TRUE))), 1e-10,
          name = note("lognormal"))
  compare("fit normal", c(mean(x), sd(x), sum(dnorm(x, mean(x), sd(x), TRUE))), 1e-10,
          name = note("normal"))
  sigma <- sqrt(mean(x^2) / 2)
  compare("fit rayleigh", c(sigma, sum(dweibull(x, 2, sigma * sqrt(2), TRUE))), 1e-10,
          name = note("rayleigh"))
  k <- uniroot(function(k) sum(x^k * log(x)) / sum(x^k) - 1 / k - mean(log(x)), c(0.05, 40),
               tol = 1e-14)$root
  w <- mean(x^k)^(1 / k)
  compare("fit weibull", c(k, w, sum(dweibull(x, k, w, TRUE))), 1e-8, name = note("weibull"))
  g <- uniroot(function(k) log(k) - digamma(k) - log(mean(x)) + mean(log(x)), c(0.05, 500),
               tol = 1e-13)$root
  compare("fit gamma", c(g, mean(x) / g, sum(dgamma(x, g, scale = mean(x) / g, log = TRUE))), 1e-8,
          name = note("gamma"))
}
# Searched shapes: the height to 1e-8 (ours may be no lower), parameters to 1e-4.
searched <- function(shape, x, height, start, relative = 1e-4, name) {
  top <- climb(height, start)
  data_line(x)
  compare(paste("fit", shape), c(top$par, NA), relative, name = paste("fit", shape, "to", name))
  compare(paste("fit", shape), c(rep(NA, length(top$par)), top$height), 1e-8,
          name = paste("height of", shape, "on", name))
}
x <- as.numeric(rivers)
searched("lognormal_3", x, function(p) if (p[3] < min(x)) sum(dlnorm(x - p[3], p[1], p[2], TRUE)) else NA,
         c(6, 0.6, 50), name = "rivers")
set.seed(20260302)
w3 <- 10 + qweibull(ppoints(80), 2.4, 3) + rnorm(80) * 0.05
searched("weibull_3", w3, function(p) if (p[3] < min(w3)) sum(dweibull(w3 - p[3], p[1], p[2], TRUE)) else NA,
         c(2, 3, 9.5), name = "a made set")
su <- 5 + 2 * sinh((qnorm(ppoints(120)) + 0.7) / 1.3) + rnorm(120) * 0.01
searched("johnson_su", su, function(p) {
  u <- (su - p[3]) / p[4]
  sum(dnorm(p[1] + p[2] * asinh(u), log = TRUE) + log(p[2] / p[4]) - 0.5 * log1p(u^2))
}, c(-0.7, 1.3, 5, 2), name = "a made set")
sb <- 3 + 4 * plogis((qnorm(ppoints(150)) - 0.4) / 0.8) + rnorm(150) * 0.01
searched("johnson_sb", sb, function(p) {
  a <- sb - p[3]; b <- p[3] + p[4] - sb
  if (min(a, b) <= 0) NA else
    sum(dnorm(p[1] + p[2] * log(a / b), log = TRUE) + log(p[2] * p[4]) - log(a) - log(b))
}, c(0.4, 0.8, 3, 4), name = "a made set")
fold <- abs(qnorm(ppoints(90), 1.2, 0.9))
searched("folded_normal", fold, function(p) sum(log(dnorm(fold, p[1], p[2]) + dnorm(fold, -p[1], p[2]))),
         c(1.2, 0.9), name = "a made set")

# ---- Anderson-Darling -------------------------------------------------------------------------------
ad <- function(u) { u <- sort(u); n <- length(u)
  -n - mean((2 * seq_len(n) - 1) * (log(u) + log1p(-rev(u)))) }
data_line(w3)
k <- uniroot(function(k) sum(w3^k * log(w3)) / sum(w3^k) - 1 / k - mean(log(w3)), c(0.05, 40), tol = 1e-14)$root
compare("test weibull", c(ad(pweibull(w3, k, mean(w3^k)^(1 / k))), NA), 1e-7, name = "A2 of weibull")
g <- uniroot(function(k) log(k) - digamma(k) - log(mean(w3)) + mean(log(w3)), c(0.05, 900), tol = 1e-13)$root
compare("test gamma", c(ad(pgamma(w3, g, scale = mean(w3) / g)), NA), 1e-7, name = "A2 of gamma")
compare("test lognormal", c(ad(pnorm(log(w3), mean(log(w3)), sd(log(w3)))), NA), 1e-8, name = "A2 of lognormal")

# ---- percentile indices -----------------------------------------------------------------------------
data_line(as.numeric(rivers))
limits_line(NA, 100, 5000)
s <- sqrt(mean((log(rivers) - mean(log(rivers)))^2))
q <- qlnorm(c(pnorm(-3), 0.5, pnorm(3)), mean(log(rivers)), s)
compare("percentiles lognormal",
        c(q, 4900 / (q[3] - q[1]), (q[2] - 100) / (q[2] - q[1]), (5000 - q[2]) / (q[3] - q[2]),
          min((q[2] - 100) / (q[2] - q[1]), (5000 - q[2]) / (q[3] - q[2])),
          plnorm(100, mean(log(rivers)), s), plnorm(5000, mean(log(rivers)), s, FALSE)), 1e-9)

# ---- capability -------------------------------------------------------------------------------------
for (n in c(5, 12, 30, 100, 400)) for (c0 in c(0.5, 1.33, 2)) {
  limits_line(0.4, -3 * c0 - 1, 3 * c0)
  df <- n - 1
  # exact one-sided bounds, from the definition: chance of what was seen is alpha / 2; the chance by
  # integration over s, for R's pt() with ncp turns to an approximation beyond 37
  nct <- function(t, ncp) integrate(function(s) pnorm(t * s - ncp) * 2 * s * df * dchisq(s^2 * df, df),
                                    0, Inf, rel.tol = 1e-12, subdivisions = 2000L, abs.tol = 0)$value
  bound <- function(t, p) uniroot(function(d) nct(t, d) - p,
                                  c(t - 6 - t, t + 6 + t), tol = 1e-11)$root
  t <- 3 * sqrt(n) * c0
  b <- if (n >= 12) c(bound(t, 0.975), bound(t, 0.025)) / (3 * sqrt(n)) else c(NA, NA)
  cp <- (6 * c0 + 1) / 6
  f <- sqrt(qchisq(c(0.025, 0.975), df) / df)
  half <- qnorm(0.975) * sqrt(1 / (9 * n) + c0^2 / (2 * df))
  sn2 <- df / n; x2 <- 0.16 / sn2
  nu <- n * (1 + x2)^2 / (1 + 2 * x2)
  m <- (6 * c0 + 1) / 6 / sqrt(sn2 + 0.16) * sqrt(qchisq(c(0.025, 0.975), nu) / nu)
  one <- c(cp, cp * f, c0 + 1 / 3, NA, NA, c0, b, c0, c0 - half, c0 + half)
  compare(paste("capability", text_of(c(n, 0, 1, df, 1, 0.95, 0, 0))),
          c(one, one, (6 * c0 + 1) / 6 / sqrt(1.16), m), 1e-8, name = paste("capability", n, c0))
}
# A mean with an error of its own: the bound as a quantile of (room + se T) W / (3 s).
limits_line(NA, -4, NA)
for (case in list(c(20, 0.3, 4), c(60, 0.25, 19), c(200, 0.12, 49))) {
  df <- case[1]; se <- case[2]; dm <- case[3]
  chance <- function(c) integrate(function(w) pt((3 * c / w - 4) / se, dm) * 2 * w * df * dchisq(w^2 * df, df),
                                  0, Inf, rel.tol = 1e-12, subdivisions = 4000L)$value
  b <- sapply(c(0.025, 0.975), function(p) uniroot(function(c) chance(c) - p, c(0.1, 4), tol = 1e-11)$root)
  compare(paste("capability", text_of(c(df + 1, 0, 1, df, 1, 0.95, se, dm))),
          c(rep(NA, 3), 4 / 3, b, rep(NA, 21)), 1e-8, name = paste("side with an estimated mean", df))
}

# ---- tolerance factors ------------------------------------------------------------------------------
for (n in c(3, 10, 43, 100)) for (p in c(0.9, 0.99)) for (g in c(0.9, 0.95)) {
  # one-sided: P(noncentral t <= k sqrt(n)) = g, integrated over s as above
  df <- n - 1; d <- qnorm(p) * sqrt(n)
  nct <- function(t) integrate(function(s) pnorm(t * s - d) * 2 * s * df * dchisq(s^2 * df, df), 0, Inf,
                               rel.tol = 1e-12, subdivisions = 2000L)$value
  k1 <- uniroot(function(t) nct(t) - g, c(d / 3, 60 * d), tol = 1e-10)$root / sqrt(n)
  r <- function(x) sapply(x, function(v) uniroot(function(r) pnorm(v + r) - pnorm(v - r) - p,
                                                 c(0, abs(v) + 8), tol = 1e-13)$root)
  k2 <- uniroot(function(k) 2 * integrate(function(x) dnorm(x, 0, 1 / sqrt(n)) *
                  pchisq(df * r(x)^2 / k^2, df, lower.tail = FALSE), 0, 9 / sqrt(n), rel.tol = 1e-10)$value - g,
                c(1, 60), tol = 1e-10)$root
  least <- uniroot(function(m) pbeta(p, m - 1, 2) - (1 - g), c(2, 2000), tol = 1e-9)$root
  compare(paste("tolerance", text_of(c(n, p, g))),
          c(k1, k2, qnorm((1 + p) / 2) * sqrt(df * (1 + 1 / n) / qchisq(1 - g, df)), ceiling(least), NA, NA),
          1e-8, name = paste("tolerance", n, p, g))
}

# ---- inside a circle --------------------------------------------------------------------------------
for (case in list(c(0, 0, 1, 1, 0, 2), c(0.5, 0.5, 1, 1, 0, 2), c(0, 0, 1, 0.5, 0, 2),
                  c(0.4, -0.2, 1, 0.5, 0.6, 2), c(0, 0, 1, 0.5, 0.6, 6), c(3, 1, 0.2, 0.3, -0.4, 4),
                  c(0, 0, 1, 0.01, 0.2, 3), c(1, 0, 0.05, 0.4, 0.1, 2.5), c(5, 5, 1, 2, 0.3, 4))) {
  m <- case[1:2]; s <- case[3:4]; rho <- case[5]; R <- case[6]
  # over x, then y given x, both tails apart
  cond <- function(x) { mu <- m[2] + rho * s[2] / s[1] * (x - m[1]); sd <- s[2] * sqrt(1 - rho^2)
    h <- sqrt(pmax(0, R^2 - x^2))
    dnorm(x, m[1], s[1]) * (pnorm((h - mu) / sd, lower.tail = FALSE) + pnorm((-h - mu) / sd)) }
  cuts <- sort(unique(c(-R, R, pmax(-R, pmin(R, m[1] + c(-6, -4, -3, -2, -1, 0, 1, 2, 3, 4, 6) * s[1])))))
  inner <- 0
  for (i in seq_len(length(cuts) - 1)) {
    # x = R sin t takes the root at the rim away
    t <- asin(pmax(-1, pmin(1, cuts[i + 0:1] / R)))
    inner <- inner + integrate(function(t) cond(R * sin(t)) * R * cos(t), t[1], t[2], rel.tol = 1e-11,
                               abs.tol = 0, subdivisions = 3000L)$value
  }
  compare(paste("circle", text_of(case)),
          inner + pnorm(-R, m[1], s[1]) + pnorm(R, m[1], s[1], FALSE), 1e-8, name = paste("circle", text_of(case)))
}
compare("circle 0 0 1 1 0 7", exp(-49 / 2), 1e-10, name = "Rayleigh, seven sigma")
compare("circle 0.5 0.5 1 1 0 2", pchisq(4, 2, 0.5, FALSE), 1e-10, name = "noncentral chi-square")

# ---- counts ------------------------------------------------------------------------------------------
for (case in list(c(0, 50), c(1, 10), c(7, 1000), c(50, 50), c(123, 4567)))
  compare(paste("fraction", text_of(c(case, 0.95))),
          c(binom.test(case[1], case[2])$conf.int, poisson.test(case[1], case[2])$conf.int), 1e-9,
          name = paste("fraction", text_of(case)))

# ---- robust, Box-Cox ---------------------------------------------------------------------------------
for (x in list(as.numeric(rivers), as.numeric(precip), as.numeric(Nile), trees$Volume)) {
  data_line(x)
  n <- length(x); cut <- floor(0.1 * n); s <- sort(x)
  win <- pmin(pmax(x, s[cut + 1]), s[n - cut])
  h <- n %/% 2 + 1
  d <- if (n %% 2) n / (n + 1.4) else n / (n + 3.8)
  qn <- sort(as.numeric(dist(x)))[h * (h - 1) / 2] / (sqrt(2) * qnorm(5 / 8)) * d
  compare("robust 0.1", c(median(x), mad(x, constant = 1 / qnorm(0.75)), mean(x, trim = 0.1),
          sd(win) / ((1 - 2 * cut / n) * sqrt(n)), mean(win), sd(win), qn), 1e-10, name = "robust")
  u <- log(x) - mean(log(x))
  prof <- function(l) sapply(l, function(l) { y <- if (l == 0) u else expm1(l * u) / l
    -n / 2 * log(mean((y - mean(y))^2)) })
  slope <- function(l) { y <- expm1(l * u) / l; e <- exp(l * u); dy <- (u * e - y) / l
    -n * sum((y - mean(y)) * dy) / sum((y - mean(y))^2) }
  best <- optimize(prof, c(-4, 4), maximum = TRUE, tol = 1e-9)$maximum
  best <- uniroot(slope, best + c(-0.05, 0.05), tol = 1e-12)$root
  ends <- sapply(c(-5, 5), function(e) uniroot(function(l) prof(l) - prof(best) + qchisq(0.95, 1) / 2,
                                               sort(c(e, best)), tol = 1e-12)$root)
  compare("boxcox 0.95", c(best, ends, prof(best) - prof(1)), 1e-8, name = "Box-Cox")
}
finish(300)
