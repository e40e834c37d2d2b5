"""Times and peak memory beside what cannot be done without: decoding, and starting Python. On one core."""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"  # here, because NumPy reads them when it is loaded; children inherit them
