"""
Computes in one thread a worker, as there is a worker on every core.

The threads of numpy's linear algebra would only wait for each other, at full load: a test of
dense matrices took five times the processor with two. Named by ``-p`` in ``pyproject.toml``,
since it must come before anything imports numpy. Who sets the variables is obeyed.
"""

from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
