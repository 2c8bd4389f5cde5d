"""What a load asks of an ideal class-B amplifier: heat, as that of a resistor.

E. Benjamin, "Audio power amplifiers for loudspeaker loads", JAES 42 (9), 1994 (recalled), looks at the power
that an output stage turns into heat when voltage and current part in phase. The closed form is derived here
and checked by brute force in the tests.

A stage on the supply voltage Vs that drives a sine of that amplitude into |Z|e^(jφ) carries
i = Vs/|Z| sin(t − φ) while Vs(1 − sin t) lies across it. The greatest product in a cycle, at
t* = 150° + 2|φ|/3, is that of a resistor R whose greatest product is Vs²/4R.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.records.grid import Floats
from earwitness.records.sources import Source, Standing

SOURCE: Final = Source("Benjamin, JAES 42 (9)", "1994", "", Standing.COMPUTED)


def load_part(phase_deg: float | Floats) -> Floats:
    """The resistor that heats an ideal class-B stage as much at the worst moment, re |Z|.

    Parameters
    ----------
    phase_deg
        Of the impedance, from −90 to 90, any shape.

    Returns
    -------
    The same shape, 1 at 0°. Worked numbers: 45°: 0.353553; 90°: 0.192450.
    """
    lag = np.deg2rad(np.abs(np.asarray(phase_deg, dtype=np.float64)))
    worst = np.deg2rad(150.0) + 2.0 / 3.0 * lag
    return np.asarray(1.0 / (4.0 * (1.0 - np.sin(worst)) * np.sin(worst - lag)))
