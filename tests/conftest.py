"""Set before numpy is imported: threads inside small matrix products cost more than they gain."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# A runner of tests may set it, and a pipe is as wide as it says.
os.environ.pop("COLUMNS", None)
