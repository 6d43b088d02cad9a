"""Published data for curve fits. The numbers are as in the sources, to the digit."""

from __future__ import annotations

import numpy as np

# NIST StRD Misra1a, y = b1 (1 - exp(-b2 x)), lower difficulty. Misra, D. (1978), dental research, monomolecular adsorption.
MISRA1A_X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
MISRA1A_Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
MISRA1A_B = np.array([2.3894212918e02, 5.5015643181e-04])
MISRA1A_SD = np.array([2.7070075241e00, 7.2668688436e-06])
MISRA1A_SUM = 1.2455138894e-01
MISRA1A_STARTS = ((500.0, 1e-4), (250.0, 5e-4))

# NIST StRD BoxBOD, the same form, higher difficulty. Box, Hunter and Hunter (1978), Statistics for Experimenters, pp. 483-487.
BOXBOD_X = np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
BOXBOD_Y = np.array([109.0, 149.0, 149.0, 191.0, 213.0, 224.0])
BOXBOD_B = np.array([2.1380940889e02, 5.4723748542e-01])
BOXBOD_SD = np.array([1.2354515176e01, 1.0455993237e-01])
BOXBOD_SUM = 1.1680088766e03
BOXBOD_STARTS = ((1.0, 1.0), (100.0, 0.75))

# Helium-neon beam, 632.8 nm: the example in the ISO 11146 program laserbeamsize (m2_fit.py). Heights mm, RADII micrometres.
HENE_Z_MM = np.array([168, 210, 280, 348, 414, 480, 495, 510, 520, 580, 666, 770], dtype=float)
HENE_RADIUS_UM = np.array([597, 572, 547, 554, 479, 403, 415, 400, 377, 391, 326, 397], dtype=float)
HENE_UM = 0.6328
