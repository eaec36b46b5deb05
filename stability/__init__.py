"""Storage stability of thinned reactive binders: plan, measure, forecast, warn, state."""

import os

__version__ = "0.1.0"

# The products of matrices here are small. A pool of threads that wait for one another costs many times what
# it saves, most of all on a machine that does other work; it must be said before numpy is loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
