"""sofar, which reads and verifies AES69 files independently of us.

Its NetCDF library warns, as it is imported, of a numpy newer than the one that it was built with.
"""

from __future__ import annotations

import warnings

with warnings.catch_warnings():
    warnings.simplefilter("ignore", RuntimeWarning)
    import sofar

__all__ = ["sofar"]
