# Plain least squares by R's own nls() on two data sets that come with R, one file
# of estimates and standard errors each. Run here with R 4.2.2 (Debian r-base-core):
#
#     Rscript nls.R theoph > theoph_nls.csv
#     Rscript nls.R indometh > indometh_nls.csv
#     Rscript nls.R readings > indometh.csv
#     Rscript nls.R forecast > plain_forecast.csv
#
# Theoph: Boeckmann, Sheiner & Beal (1994), NONMEM Users Guide, part V. Indometh:
# Kwan, Breault, Umbenhauer, McMahon & Duggan (1976), J. Pharmacokin. Biopharm.
# 4:255-280. nls stops where its relative offset is below 1e-5; it is sent on from there
# to 1e-7.
what <- commandArgs(trailingOnly = TRUE)[1]
subjects <- function(d) sort(as.integer(as.character(unique(d$Subject))))

# tight is nls sent on to 1e-7.
tight <- function(formula, x) {
	nls(formula, x, start = coef(nls(formula, x)), control = nls.control(tol = 1e-7, maxiter = 200, minFactor = 2^-20))
}

# forecasts prints, for each subject and each of some hours, the fitted curve and the
# ends of its 90 % interval by the delta method on its log, with Student's t, and the
# chance of 0.9 of the fitted value.
forecasts <- function(set, d, formula, hours, at) {
	for (s in subjects(d)) {
		x <- d[d$Subject == s, ]
		f <- tight(formula, x)
		for (h in hours) {
			g <- attr(eval(formula[[3]], c(as.list(coef(f)), at(x, h))), "gradient")
			c <- predict(f, at(x, h))[1]
			sd <- sqrt(drop(g %*% vcov(f) %*% t(g))) / c
			df <- df.residual(f)
			cat(sprintf("%s,%d,%g,%.9g,%.9g,%.9g,%.9g,%.9g\n", set, s, h, c, c * exp(-qt(0.95, df) * sd), c * exp(qt(0.95, df) * sd), 0.9 * c, pt(log(1 / 0.9) / sd, df)))
		}
	}
}

# fits prints a line for each subject: what is in front, then every estimate with its
# standard error, the residual standard error and the sum of squares.
fits <- function(d, formula, front) {
	for (s in subjects(d)) {
		x <- d[d$Subject == s, ]
		f <- tight(formula, x)
		e <- summary(f)$coefficients
		n <- c(t(e[, 1:2]), summary(f)$sigma, deviance(f))
		cat(paste(c(s, front(x), sprintf("%.9g", n)), collapse = ","), "\n", sep = "")
	}
}
source <- paste0("Source: R ", getRversion(), ", stats::nls on datasets::")
if (what == "theoph") {
	cat("# nls(conc ~ SSfol(Dose, Time, lKe, lKa, lCl)) for each subject: estimates and standard errors. ", source, "Theoph; made by nls.R.\n", sep = "")
	cat("subject,wt,dose,lKe,lKe_se,lKa,lKa_se,lCl,lCl_se,residual_se,rss\n")
	fits(Theoph, conc ~ SSfol(Dose, Time, lKe, lKa, lCl), function(x) sprintf("%.2f", c(x$Wt[1], x$Dose[1])))
} else if (what == "indometh") {
	cat("# nls(conc ~ SSbiexp(time, A1, lrc1, A2, lrc2)) for each subject: estimates and standard errors. ", source, "Indometh; made by nls.R.\n", sep = "")
	cat("subject,A1,A1_se,lrc1,lrc1_se,A2,A2_se,lrc2,lrc2_se,residual_se,rss\n")
	fits(Indometh, conc ~ SSbiexp(time, A1, lrc1, A2, lrc2), function(x) NULL)
} else if (what == "forecast") {
	cat("# predict() of the fits by nls.R with the 90 % interval of the curve by the delta method on its log, and the chance of 0.9 of it. ", source, "Theoph (set 1) and Indometh (set 2); made by nls.R.\n", sep = "")
	cat("set,subject,hours,ppm,p05,p95,level,chance\n")
	forecasts("1", Theoph, conc ~ SSfol(Dose, Time, lKe, lKa, lCl), c(3, 24, 48), function(x, h) list(Dose = x$Dose[1], Time = h))
	forecasts("2", Indometh, conc ~ SSbiexp(time, A1, lrc1, A2, lrc2), c(1, 8, 12), function(x, h) list(time = h))
} else {
	cat("# Indometacin in the plasma of 6 people after an injection: time h, conc mcg/ml. Source: R ", paste(getRversion()), ", package datasets, Indometh (Kwan et al. 1976, J. Pharmacokin. Biopharm. 4:255-280); made by nls.R.\n", sep = "")
	cat("subject,time_h,conc\n")
	for (s in subjects(Indometh)) {
		x <- Indometh[Indometh$Subject == s, ]
		cat(sprintf("%d,%g,%g\n", s, x$time, x$conc), sep = "")
	}
}
