# HC3 of least squares and a marginal model by hand in base R (no package): R 4.2.2
# Run in tests/references with: Rscript models/second_opinion/reference.R > models/second_opinion/results.json
a <- read.csv("capacity/06_correlation__n14_vo2max_hr/athlete_level.csv")
hc3 <- function(f) {
  X <- model.matrix(f); e <- residuals(f); h <- hatvalues(f); B <- solve(crossprod(X))
  V <- B %*% crossprod(X * (e / (1 - h))) %*% B
  c(coef(f)[2], sqrt(V[2, 2]), 2 * pt(-abs(coef(f)[2] / sqrt(V[2, 2])), df.residual(f)), df.residual(f))
}
# exchangeable working correlation by moments (Liang & Zeger 1986), covariance of Mancl & DeRouen (2001)
marginal <- function(d) {
  d <- d[order(d$athlete), ]
  X <- model.matrix(~ factor(round), d); y <- d$hr_mean; id <- split(seq_along(y), d$athlete); p <- ncol(X)
  alpha <- 0
  for (i in 1:200) {
    A <- matrix(0, p, p); b <- numeric(p)
    for (r in id) {
      W <- solve((1 - alpha) * diag(length(r)) + alpha); A <- A + t(X[r, ]) %*% W %*% X[r, ]; b <- b + t(X[r, ]) %*% W %*% y[r]
    }
    beta <- solve(A, b); e <- as.vector(y - X %*% beta); phi <- sum(e^2) / (length(y) - p)
    pairs <- sum(sapply(id, function(r) (sum(e[r])^2 - sum(e[r]^2)) / 2)); n <- sum(sapply(id, function(r) choose(length(r), 2)))
    alpha <- pairs / phi / (n - p)
  }
  M <- matrix(0, p, p); B <- solve(A)
  for (r in id) {
    W <- solve((1 - alpha) * diag(length(r)) + alpha); Xr <- X[r, ]
    u <- t(Xr) %*% W %*% solve(diag(length(r)) - Xr %*% B %*% t(Xr) %*% W, e[r]); M <- M + u %*% t(u)
  }
  V <- B %*% M %*% B
  wald <- as.numeric(t(beta[-1]) %*% solve(V[-1, -1], beta[-1])) / (p - 1)
  c(beta[p], sqrt(V[p, p]), length(id) - p, pf(wald, p - 1, length(id) - p, lower.tail = FALSE))
}
show <- function(name, v) sprintf('"%s": [%s]', name, paste(format(v, digits = 15), collapse = ", "))
cat("{", paste(c(
  show("hc3", hc3(lm(hr_mean ~ vo2max, a))), show("hc3_adjusted", hc3(lm(hr_mean ~ vo2max + age, a))),
  show("marginal", marginal(read.csv("rounds/02_lmm__n14k4_hr_mean/data.csv"))),
  show("marginal_missing", marginal(read.csv("rounds/02_lmm__n14k4_three_rows_missing/data.csv")))), collapse = ",\n  "), "}\n")
