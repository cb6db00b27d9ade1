# The same plain fits as nls.R by another library: scipy.optimize.curve_fit (MINPACK's
# Levenberg-Marquardt) on theoph.csv and indometh.csv, with its own covariance. Run
# here with SciPy 1.10.1 (Debian python3-scipy):
#
#     python3 curve_fit.py theoph > theoph_scipy.csv
#     python3 curve_fit.py indometh > indometh_scipy.csv
import csv
import pathlib
import sys

import numpy as np
import scipy
from scipy.optimize import curve_fit

here = pathlib.Path(__file__).parent


def rows(name):
    with open(here / name) as f:
        return list(csv.DictReader(line for line in f if not line.startswith("#")))


def release_loss(t, yield_, release, loss):
    return yield_ * release / (release - loss) * (np.exp(-loss * t) - np.exp(-release * t))


def two_phase(t, a1, k1, a2, k2):
    return a1 * np.exp(-k1 * t) + a2 * np.exp(-k2 * t)


curve, names, start = {
    "theoph": (release_loss, ["yield", "release", "loss"], [8, 1.5, 0.09]),
    "indometh": (two_phase, ["fast", "fast_rate", "slow", "slow_rate"], [3, 2, 0.4, 0.3]),
}[sys.argv[1]]
data = rows(sys.argv[1] + ".csv")
print(f"# curve_fit of {curve.__name__} for each subject, rates per hour: estimates and standard errors. "
      f"Source: SciPy {scipy.__version__}, scipy.optimize.curve_fit; made by curve_fit.py.")
print("subject," + ",".join(f"{n},{n}_se" for n in names))
for s in sorted({int(r["subject"]) for r in data}):
    t = np.array([float(r["time_h"]) for r in data if int(r["subject"]) == s])
    c = np.array([float(r["conc"]) for r in data if int(r["subject"]) == s])
    x, cov = curve_fit(curve, t, c, p0=start, xtol=1e-14, ftol=1e-14, gtol=1e-14, maxfev=100000)
    out = np.column_stack([x, np.sqrt(np.diag(cov))]).ravel()
    print(f"{s}," + ",".join(f"{v:.9g}" for v in out))
