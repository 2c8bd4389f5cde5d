"""From impulse responses and text to the responses of all directions on the derived grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from earwitness.measurement import stated
from earwitness.measurement.deconvolution import RECORDED
from earwitness.measurement.gated import LEAD_S
from earwitness.measurement.given_reduction import reduce_given
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.recorded import reduce_recorded
from earwitness.measurement.repeated import set_aside_outliers
from earwitness.measurement.table import Table
from earwitness.records.errors import CallError, NotAvailableError
from earwitness.records.facts import CaseFacts
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Responses
from earwitness.records.takes import DIRECTIONAL, Take, TakeId, TakeKind


def reduce(
    facts: CaseFacts,
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    raw: Path,
) -> Responses:
    """All directional responses of a case at 1 m on the derived grid.

    Parameters
    ----------
    facts
        The rig, the cabinet and its radiators.
    takes
        All takes of the case; calibration and text takes are read from `raw`.
    impulse_responses
        What `deconvolution.deconvolve` gave for every take that came as sound.

    Raises
    ------
    CaseError
        The distance isn't stated, or recordings have no level, or a near field names an unknown radiator.
    ReadError
        A calibration or text file can't be read.
    NotAvailableError
        There is no direction at all, or no gate.
    """
    directional = tuple(sorted((t for t in takes if t.key.kind in DIRECTIONAL), key=lambda t: t.id))
    if not directional:
        raise NotAvailableError(
            "the case has no response in any direction yet; add some with `earwitness add`"
        )
    table = Table.empty(directional, derived_grid())
    table.say(*stated.distance_notes(facts.rig))
    if facts.rig.temperature_c is None:
        table.say("The temperature isn't stated; the speed of sound is that of a mild room.")
    recorded = [row for row, t in enumerate(directional) if t.key.kind in RECORDED]
    given = [row for row, t in enumerate(directional) if t.key.kind is TakeKind.RESPONSE]
    _require_all(takes, impulse_responses)
    if recorded:
        stated.distance_m(facts.rig)
        reduce_recorded(table, recorded, takes, impulse_responses, facts=facts, raw=raw)
    if given:
        reduce_given(table, given, facts, raw)
    set_aside_outliers(table)
    return table.responses(LEAD_S)


def _require_all(takes: Sequence[Take], impulse_responses: Mapping[TakeId, ImpulseResponse]) -> None:
    for take in takes:
        if take.key.kind in RECORDED and take.id not in impulse_responses:
            raise CallError(f"{take.id} has not been deconvolved")
