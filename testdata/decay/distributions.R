# What the forecasts ask of the normal, of Student's t and of samples, and the Newton
# step of a censored normal reading. Run here with R 4.2.2 (Debian r-base-core):
#
#     Rscript distributions.R > distributions.csv
#
# Columns: what, two arguments, value.
cat("# pnorm, dnorm, qnorm, pt, qt, qchisq, quantile (type 7), median and the hazard of the normal. Source: R ", paste(getRversion()), "; made by distributions.R.\n", sep = "")
cat("what,a,b,value\n")
row <- function(what, a, b, value) cat(sprintf("%s,%.17g,%.17g,%.15g\n", what, a, b, value), sep = "")
z <- c(-30, -12, -8, -5, -3, -1.5, -0.1, 0, 0.7, 2, 4, 7)
row("pnorm", z, 0, pnorm(z))
row("dnorm", z, 0, dnorm(z))
p <- c(1e-12, 1e-6, 0.001, 0.05, 0.3, 0.5, 0.95, 0.999, 1 - 1e-6)
row("qnorm", p, 0, qnorm(p))
for (nu in c(1, 2, 3, 7, 8, 30, 200)) {
	row("pt", c(-40, -4, -1.3, 0, 0.5, 2.1, 9), nu, pt(c(-40, -4, -1.3, 0, 0.5, 2.1, 9), nu))
	row("qt", c(0.05, 0.5, 0.9, 0.95, 0.975, 0.999), nu, qt(c(0.05, 0.5, 0.9, 0.95, 0.975, 0.999), nu))
}
row("qchisq", c(0.001, 0.5, 0.95, 0.999, 0.9999), 9, qchisq(c(0.001, 0.5, 0.95, 0.999, 0.9999), 9))
# hazard of a reading that is known to lie below a limit: φ(a)/Φ(a), and minus its slope
a <- c(-20, -12, -8.5, -7.9, -5, -2, -0.5, 0, 1, 3, 6)
h <- exp(dnorm(a, log = TRUE) - pnorm(a, log.p = TRUE))
row("hazard", a, 0, h)
row("slope", a, 0, h * (h + a))
x <- Theoph$conc # 132 measured concentrations
row("quantile", c(0, 0.05, 0.25, 0.5, 0.77, 0.95, 1), 132, unname(quantile(x, c(0, 0.05, 0.25, 0.5, 0.77, 0.95, 1))))
row("quantile", c(0.05, 0.5, 0.95), 11, unname(quantile(x[1:11], c(0.05, 0.5, 0.95))))
for (n in c(1, 2, 10, 11, 132)) row("median", n, 0, median(x[1:n]))
