# Reference values for censored mixed models: Rscript make.R, in this folder. Base R and the recommended package survival.
options(digits = 15)
library(survival)
num <- function(x) paste0("[", paste(formatC(x, digits = 12, format = "g"), collapse = ", "), "]")

# 1. Tobin's data as shipped with survival (durable goods; 13 of 20 values censored at 0)
fit <- survreg(Surv(durable, durable > 0, type = "left") ~ age + quant, data = tobin, dist = "gaussian")
write.csv(tobin, "tobin.csv", row.names = FALSE)

# 2. invented lactate of nine athletes over four rounds, analyser's scale ends at 15 and begins at 4
set.seed(14)
d <- expand.grid(round_no = 1:4, athlete = sprintf("A%02d", 1:9))
d$y <- 8.5 + c(0, 2.2, 3.4, 3.9)[d$round_no] + rnorm(9, 0, 3)[as.integer(d$athlete)] + rnorm(36, 0, 1.4)
d$y <- round(d$y, 1)
d$side <- ifelse(d$y >= 15, 1, ifelse(d$y <= 4, -1, 0))
d$y <- pmin(pmax(d$y, 4), 15)
d <- d[-c(7, 18), ]
write.csv(d, "nine.csv", row.names = FALSE)

X <- model.matrix(~ factor(round_no), d)
grid <- seq(-9, 9, length.out = 1801)  # the integral over an athlete's level: trapezium rule in SDs, exact to 1e-13 here
weight <- dnorm(grid) * (grid[2] - grid[1])
loglik <- function(beta, sigma, tau) {
  m <- outer(drop(X %*% beta), tau * grid, "+")
  each <- matrix(dnorm(d$y, m, sigma, log = TRUE), nrow(m))
  over <- d$side > 0; under <- d$side < 0
  each[over, ] <- pnorm(d$y[over], m[over, , drop = FALSE], sigma, lower.tail = FALSE, log.p = TRUE)
  each[under, ] <- pnorm(d$y[under], m[under, , drop = FALSE], sigma, log.p = TRUE)
  sum(log(exp(rowsum(each, d$athlete)) %*% weight))
}
start <- c(coef(lm(y ~ factor(round_no), d)), log(1.4), log(3))
ml <- optim(start, function(p) -loglik(p[1:4], exp(p[5]), exp(p[6])), method = "BFGS", control = list(reltol = 1e-13, maxit = 500))
best <- start[1:4]
adjusted <- function(s) {
  inner <- optim(best, function(b) -loglik(b, exp(s[1]), exp(s[2])), method = "BFGS", control = list(reltol = 1e-14, maxit = 500))
  best <<- inner$par
  h <- optimHess(inner$par, function(b) -loglik(b, exp(s[1]), exp(s[2])), control = list(ndeps = rep(1e-3, 4)))
  -inner$value - 0.5 * as.numeric(determinant(h)$modulus)
}
re <- optim(ml$par[5:6], function(s) -adjusted(s), method = "Nelder-Mead", control = list(reltol = 1e-11, maxit = 100))
value <- adjusted(re$par)
h <- optimHess(best, function(b) -loglik(b, exp(re$par[1]), exp(re$par[2])), control = list(ndeps = rep(1e-3, 4)))
cat(sprintf('{\n"tobin": {"coefficients": %s, "scale": %s, "log_likelihood": %s},\n', num(coef(fit)), formatC(fit$scale, digits = 12), formatC(fit$loglik[2], digits = 12)),
    sprintf('"nine_ml": {"coefficients": %s, "sigma": %s, "tau": %s, "log_likelihood": %s},\n', num(ml$par[1:4]), formatC(exp(ml$par[5]), digits = 10), formatC(exp(ml$par[6]), digits = 10), formatC(-ml$value, digits = 12)),
    sprintf('"nine_adjusted": {"coefficients": %s, "sigma": %s, "tau": %s, "value": %s, "covariance_given_spread": %s},\n', num(best), formatC(exp(re$par[1]), digits = 10), formatC(exp(re$par[2]), digits = 10), formatC(value, digits = 12), num(solve(h))),
    sprintf('"made_with": "R %s, survival %s"\n}\n', getRversion(), packageVersion("survival")), sep = "", file = "censored.json")
