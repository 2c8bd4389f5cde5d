"""What a publication is made from: what a person gave, and what was built from it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from earwitness.records.curves import CurveSet
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Results
from earwitness.records.findings import Findings
from earwitness.records.quality import Quality
from earwitness.records.responses import Responses
from earwitness.records.takes import Orbit, Take


@dataclass(frozen=True, slots=True)
class Revision:
    """One entry of ``revisions.toml``: what was published or changed, and on which day."""

    date: dt.date
    text: str


@dataclass(frozen=True)
class CaseFiles:
    """What a person wrote and gave.

    Attributes
    ----------
    takes
        All takes of the case, near-field, calibrator and stimulus included, their directions as AES69 has
        them; one for each part of a file.
    orbits_stated
        Orbits of which ``takes.toml`` states angles; those of other takes were read in their files.
    raw_sha256
        Path relative to ``raw/`` (as in `Take.path`) to SHA-256 in hexadecimal.
    verdict
        The text of ``verdict.md``; empty when there is none yet.
    revisions
        Oldest first.
    """

    facts: CaseFacts
    takes: tuple[Take, ...]
    raw_sha256: Mapping[str, str]
    verdict: str = ""
    revisions: tuple[Revision, ...] = ()
    orbits_stated: frozenset[Orbit] = frozenset()


@dataclass(frozen=True)
class Built:
    """What one build made, as a set: the named files of ``build/``, read.

    `quality` is None where only what goes out is of interest.
    """

    responses: Responses
    curves: CurveSet
    results: Results
    findings: Findings
    quality: Quality | None = None
