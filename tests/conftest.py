"""One thread of linear algebra, as the command line runs it: small arrays, shared cores."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
