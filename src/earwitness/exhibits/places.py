"""From a finding's place to the pictures that show it, and from a point in a picture to its findings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.exhibits.description import Exhibit, Mark, Panel
from earwitness.records.findings import Finding, Place

#: A mark is never narrower than this, so that it can be seen and pointed at.
LEAST_OCTAVES: Final = 1 / 6


def locate(place: Place, exhibits: Sequence[Exhibit], finding: str = "") -> tuple[Mark, ...]:
    """The marks of a place, one in each panel that draws its curve there, in the order of the exhibits.

    A band narrower than a sixth of an octave is widened about its centre; what reaches over the axis is cut.
    A curve that isn't drawn anywhere in the band gives no mark.
    """
    return tuple(
        Mark(exhibit.id, panel.id, *band, finding)
        for exhibit in exhibits
        for panel in exhibit.panels
        if (band := _band(place, panel)) is not None
    )


def findings_at(
    exhibit: Exhibit, panel: str, frequency_hz: float, findings: Sequence[Finding]
) -> tuple[str, ...]:
    """The ids of the findings whose mark in that panel holds the frequency, in their own order."""
    return tuple(
        finding.id
        for finding in findings
        if finding.place is not None
        and any(
            mark.panel == panel and mark.from_hz <= frequency_hz <= mark.to_hz
            for mark in locate(finding.place, (exhibit,), finding.id)
        )
    )


def _band(place: Place, panel: Panel) -> tuple[float, float] | None:
    low, high = place.band_hz
    widen = max(0.0, LEAST_OCTAVES - np.log2(high / low)) / 2
    low, high = low * 2**-widen, high * 2**widen
    drawn = _drawn_hz(place.curve, panel)
    if not np.any((drawn >= low) & (drawn <= high)):
        return None
    return float(max(low, panel.x_axis.minimum)), float(min(high, panel.x_axis.maximum))


def _drawn_hz(curve: str, panel: Panel) -> np.ndarray[tuple[int], np.dtype[np.floating]]:
    shown = [line.x[np.isfinite(line.y)] for line in panel.lines if line.curve == curve]
    mapped = panel.level_map
    if mapped is not None and mapped.curve == curve:
        shown.append(mapped.x[np.isfinite(mapped.z).any(axis=0)])
    return np.concatenate(shown) if shown else np.empty(0)
