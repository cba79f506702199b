"""Libraries of linear algebra: one thread each, whoever starts them.

Our own workers share the cores; and sums over several threads round otherwise, so that a run would
give other last digits on another number of cores.
"""

import os

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")


def leave_one_thread():
    """Set the variables, where nobody has, that these libraries read as they are loaded."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
