# Average run lengths of one-sided and two-sided CUSUMs of normal values with
# reference value 1/2, by the R package spc (xcusum.arl: Gauss-Legendre nodes for the
# integral equation). Run here with R 4.2.2 and spc 0.6.7 (Debian r-cran-spc):
#
#     Rscript arl.R > arl.csv
suppressMessages(library(spc))
cat("# xcusum.arl of R package spc ", paste(packageVersion("spc")), " on R ", paste(getRversion()), "; made by arl.R.\n", sep = "")
cat("sides,k,h,head,shift,arl\n")
for (sided in c("one", "two")) for (h in c(4, 5)) for (head in c(0, h / 2)) for (shift in c(0, .25, .5, .75, 1, 1.5, 2, 3)) {
	arl <- xcusum.arl(0.5, h, shift, hs = head, sided = sided, r = 60)
	cat(sprintf("%d,0.5,%g,%g,%g,%.6g\n", if (sided == "one") 1 else 2, h, head, shift, arl))
}
