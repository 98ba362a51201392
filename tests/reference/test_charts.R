# SPDX-License-Identifier: GPL-3.0-or-later
# How often charts speak by luck, against base R: ranges by ptukey at infinite degrees of freedom,
# standard deviations by pchisq, counts by sums of dbinom, dpois, dnbinom and of a beta-binomial from
# lchoose and lbeta, runs by a chain of their own and solve(), moving ranges by a fine midpoint chain.
source("support.R")
options(digits = 17)

# ---- spread ---------------------------------------------------------------------------------------
for (n in c(2, 3, 5, 10, 24)) for (w in c(0.5, 2, 4, 5.5)) {
  compare(paste("range", w, n), c(ptukey(w, n, Inf), ptukey(w, n, Inf, lower.tail = FALSE)), 1e-6, 1e-9,
          name = paste("range by ptukey", w, n))
  below <- n * integrate(function(x) dnorm(x) * (pnorm(x + w) - pnorm(x))^(n - 1), -w - 9, 9,
                         rel.tol = 1e-11, subdivisions = 1000)$value
  compare(paste("range", w, n), c(below, 1 - below), 1e-9, 1e-12)
}
d2 <- function(n) integrate(function(x) 1 - pnorm(x)^n - (1 - pnorm(x))^n, -Inf, Inf, rel.tol = 1e-12)$value
c4 <- function(n) sqrt(2 / (n - 1)) * exp(lgamma(n / 2) - lgamma((n - 1) / 2))
for (n in c(2, 4, 5, 8, 25)) for (k in c(2.5, 3, 3.5)) for (ratio in c(1, 1.4)) {
  high <- c4(n) + k * sqrt(1 - c4(n)^2); low <- c4(n) - k * sqrt(1 - c4(n)^2)
  compare(paste("panel 0", n, k, ratio),
          pchisq((n - 1) * (high / ratio)^2, n - 1, lower.tail = FALSE) +
            (if (low > 0) pchisq((n - 1) * (low / ratio)^2, n - 1) else 0), 1e-9)
}
for (n in c(2, 5, 9)) { # d3 by a second integral, so a little less exact
  m2 <- integrate(function(w) 2 * w * ptukey(w, n, Inf, lower.tail = FALSE), 0, Inf, rel.tol = 1e-10)$value
  d3 <- sqrt(m2 - d2(n)^2)
  for (k in c(2.5, 3)) {
    low <- d2(n) - k * d3
    compare(paste("panel 1", n, k, 1),
            ptukey(d2(n) + k * d3, n, Inf, lower.tail = FALSE) + (if (low > 0) ptukey(low, n, Inf) else 0), 1e-6)
  }
}

# ---- counts ---------------------------------------------------------------------------------------
rate_of <- function(z, chance, k, run) {
  inside <- abs(z) <= k * (1 + 1e-12)
  if (run == 0) return(sum(chance[!inside]))
  up <- sum(chance[inside & z > 1e-12]); down <- sum(chance[inside & z < -1e-12])
  on <- sum(chance[inside & abs(z) <= 1e-12])
  states <- 1 + 2 * (run - 1); Q <- matrix(0, states, states)
  Q[1, 1] <- on; Q[1, 2] <- up; Q[1, run + 1] <- down
  for (i in seq_len(run - 1)) {
    Q[1 + i, 1] <- Q[run + i, 1] <- on
    if (i < run - 1) { Q[1 + i, 2 + i] <- up; Q[run + i, run + i + 1] <- down }
    Q[1 + i, run + 1] <- down; Q[run + i, 2] <- up
  }
  1 / solve(diag(states) - Q, rep(1, states))[1]
}
beta_binomial <- function(k, n, p, d) {
  both <- (n - 1) / (d^2 - 1) - 1; a <- p * both
  exp(lchoose(n, k) + lbeta(k + a, n - k + both - a) - lbeta(a, both - a))
}
cases <- list( # family, centre, opportunities, dispersion, samples
  list("p", 0.05, 120, 1, 25), list("p", 0.31, 60, 1, 40), list("np", 7.5, 150, 1, 30),
  list("p", 2e-4, 30000, 1, 50), list("c", 4, 1, 1, 25), list("c", 11.3, 1, 1, 60),
  list("u", 0.8, 6, 1, 35), list("u", 3.2e-4, 40000, 1, 80))
for (case in cases) for (k in c(2.5, 3)) for (run in c(0, 8, 9)) {
  family <- case[[1]]; centre <- case[[2]]; n <- case[[3]]; m <- case[[5]]
  units <- family %in% c("p", "np"); plain <- family %in% c("np", "c")
  mean <- if (plain) centre else centre * n
  x <- if (units) 0:n else 0:ceiling(mean + 40 * sqrt(mean) + 40)
  x <- x[abs(x - mean) < 30 * sqrt(mean) + 40]
  law <- if (units) dbinom(x, n, mean / n) else dpois(x, mean)
  by <- function(mu) (x - mu) / sqrt(mu * (if (units) 1 - mu / n else 1))
  total <- if (units) 1:(n * m - 1) else 1:ceiling(m * mean + 12 * sqrt(m * mean) + 30)
  total <- total[abs(total - m * mean) < 8 * sqrt(m * mean) + 20]
  weight <- if (units) dbinom(total, n * m, mean / n) else dpois(total, m * mean)
  keep <- weight > 1e-13; total <- total[keep]; weight <- weight[keep]
  estimated <- sum(weight * sapply(total / m, function(mu) rate_of(by(mu), law, k, run))) / sum(weight)
  compare(paste("chart", family, text_of(centre), n, 1, m, k, run),
          c(1 / rate_of(by(mean), law, k, run), estimated), 1e-6)
}
for (d in c(1.2, 2, 3.5)) for (k in c(2.5, 3)) { # the rate over baselines is not compared: no closed law
  x <- 0:3000
  compare(paste("chart u_prime", 18, 1, d, 100, k, 0),
          c(1 / rate_of((x - 18) / sqrt(18) / d, dnbinom(x, size = 18 / (d^2 - 1), mu = 18), k, 0), NA), 1e-9)
  y <- 0:800
  compare(paste("chart p_prime", 0.08, 800, d, 100, k, 0),
          c(1 / rate_of((y - 64) / sqrt(64 * 0.92) / d, beta_binomial(y, 800, 0.08, d), k, 0), NA), 1e-8)
}

# ---- moving ranges: a chain of 1,500 values inside the limits ---------------------------------------
moving <- function(level, range, mu, sd, cells = 1500) {
  low <- max(-level, mu - 8 * sd); high <- min(level, mu + 8 * sd)
  step <- (high - low) / cells; x <- low + (seq_len(cells) - 0.5) * step
  chance <- pnorm((x + step / 2 - mu) / sd) - pnorm((x - step / 2 - mu) / sd)
  share <- pmin(1, pmax(0, (range - abs(outer(x, x, "-"))) / step + 0.5)) # cells at the edge in part
  1 + sum(chance * solve(diag(cells) - share * rep(chance, each = cells), rep(1, cells)))
}
for (case in list(c(3, 3.686, 0, 1), c(3, 3, 1, 1), c(2.5, 2, 0, 1.2), c(9, 3.686, 0, 1)))
  compare(paste("moving", text_of(case)), do.call(moving, as.list(case)), 1e-4)

finish(150)
