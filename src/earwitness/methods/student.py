"""Student's distribution, as JCGM 100:2008 (GUM), annex G, uses it for few degrees of freedom. Recalled."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import stdtrit

from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

#: A normal distribution has 95 % within so many standard deviations.
NORMAL_95: Final = 1.959964
#: Both tails of 2.5 % are left out.
_UPPER: Final = 0.975
#: So many degrees of freedom are as good as infinitely many.
_MANY: Final = 1e9

SOURCE: Final = Source("JCGM 100", "2008", "G.3", Standing.RECALLED)


def student_factor(degrees: float | Floats) -> Floats:
    """By how much few degrees of freedom widen 95 %: t of Student's distribution over the normal's.

    Worked numbers: 1 (infinitely many), 1.1368 (10, as 2.22814 over 1.959964), 6.4829 (one, as 12.7062).
    """
    finite = np.minimum(np.asarray(degrees, dtype=np.float64), _MANY)
    return np.asarray(stdtrit(finite, _UPPER) / NORMAL_95)
