"""Search, storage, terminal and page."""

import os

# Linear algebra on several threads adds up in another order: its last bits would depend on
# the machine, and with them every design that follows.  Must stand before numpy is loaded;
# the workers, not the threads, share the cores.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
