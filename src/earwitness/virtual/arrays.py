"""Array types, as the workshop writes them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating]
Complexes = npt.NDArray[np.complexfloating]
#: Frequencies, or complex ones s/(2πj) at which a part is asked how it rings.
Frequencies = Floats | Complexes
