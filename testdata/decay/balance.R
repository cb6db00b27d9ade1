# The same by R's expm package and, for one case, by integrating the equations with
# deSolve (lsoda). Run here with R 4.2.2, expm 0.999-7, deSolve 1.34.
suppressMessages({library(expm); library(deSolve)})
d <- read.csv("balance_expm.csv", comment.char = "#")
worst <- c(expm = 0, ode = 0)
for (i in seq_len(nrow(d))) with(d[i, ], {
	m <- matrix(c(-release, 0, 0, 0, 0, -ramp, 0, 0, release, ramp, -(loss + sorb), free, 0, 0, sorb, -free), 4, byrow = TRUE)
	y0 <- c(600, -80, 150, 40)
	y <- as.vector(expm::expm(m * days) %*% y0)
	z <- as.vector(ode(y0, c(0, days), function(t, y, p) list(m %*% y), rtol = 1e-10, atol = 1e-10)[2, -1])
	want <- c(solid, ramped, air, held)
	worst <<- pmax(worst, c(max(abs(y - want)), max(abs(z - want))))
})
print(worst)
