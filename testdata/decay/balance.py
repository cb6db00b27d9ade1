# The gas balance of package decay by another library: the exponential of its whole
# matrix, scipy.linalg.expm (Al-Mohy & Higham 2009, SIAM J. Matrix Anal. Appl. 31:970),
# applied to the gas at t = 0. Run here with SciPy 1.10.1 (Debian python3-scipy):
#
#     python3 balance.py > balance_expm.csv
#
# Order of the compartments: solid, ramp (a second solid released at another rate), air,
# held. Rates per day.
import numpy as np
import scipy
from scipy.linalg import expm

start = np.array([600.0, -80.0, 150.0, 40.0])
rates = [
    # release, ramp, loss, sorb, free
    (1.2, 16, 0.2, 0.3, 0.5),
    (0.5, 3, 0.7, 0.05, 0.7),
    (2, 2.2, 0.1, 1, 0.1),
    (1.2, 8, 0.4, 0, 0.4),
    (1.15, 30, 0.25, 0.25, 0.55),
    (1.6, 34, 0.05, 0.6, 0.2),
    (0.8, 12, 1.2, 0.9, 1.4),
    (1.15, 30, 0, 0, 0.55),
    (1.15, 30, 1e-4, 1e-3, 1e-2),
    (3, 1000, 2, 3, 4),
    (0.4, 8, 0.4, 0, 0.7),  # release equals loss
    (0.4, 8, 0.4 + 1e-6, 0, 0.7),
    (1, 8, 0.75, 0.125, 0.5),  # release is the fast root of air and held
]
print(f"# exp(At)·y0 by scipy.linalg.expm, y0 = {', '.join(f'{v:g}' for v in start)} ppm. Source: SciPy {scipy.__version__}; made by balance.py.")
print("release,ramp,loss,sorb,free,days,solid,ramped,air,held")
for r, a, k, s, f in rates:
    m = np.array([[-r, 0, 0, 0], [0, -a, 0, 0], [r, a, -(k + s), f], [0, 0, s, -f]])
    for days in (1 / 24, 0.3, 1, 4, 12):
        y = expm(m * days) @ start
        print(",".join(f"{v:g}" for v in (r, a, k, s, f)) + f",{days!r}," + ",".join(f"{v:.12g}" for v in y))
