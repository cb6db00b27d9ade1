# Plain least squares by R's own nls() on two data sets that come with R, one file
# of estimates and standard errors each. Run here with R 4.2.2 (Debian r-base-core):
#
#     Rscript nls.R theoph > theoph_nls.csv
#     Rscript nls.R indometh > indometh_nls.csv
#     Rscript nls.R readings > indometh.csv
#
# Theoph: Boeckmann, Sheiner & Beal (1994), NONMEM Users Guide, part V. Indometh:
# Kwan, Breault, Umbenhauer, McMahon & Duggan (1976), J. Pharmacokin. Biopharm.
# 4:255-280. nls stops where its relative offset is below 1e-5; it is sent on from there
# to 1e-7.
what <- commandArgs(trailingOnly = TRUE)[1]
subjects <- function(d) sort(as.integer(as.character(unique(d$Subject))))

# fits prints a line for each subject: what is in front, then every estimate with its
# standard error, the residual standard error and the sum of squares.
fits <- function(d, formula, front) {
	for (s in subjects(d)) {
		x <- d[d$Subject == s, ]
		f <- nls(formula, x, start = coef(nls(formula, x)), control = nls.control(tol = 1e-07, maxiter = 200, minFactor = 2^-20))
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
} else {
	cat("# Indometacin in the plasma of 6 people after an injection: time h, conc mcg/ml. Source: R ", paste(getRversion()), ", package datasets, Indometh (Kwan et al. 1976, J. Pharmacokin. Biopharm. 4:255-280); made by nls.R.\n", sep = "")
	cat("subject,time_h,conc\n")
	for (s in subjects(Indometh)) {
		x <- Indometh[Indometh$Subject == s, ]
		cat(sprintf("%d,%g,%g\n", s, x$time, x$conc), sep = "")
	}
}
