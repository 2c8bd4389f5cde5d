"""Publishes a case from its last build."""

from __future__ import annotations

import tomllib
from pathlib import Path

from earwitness.case.datasets import load_curves, load_responses
from earwitness.case.documents import from_json
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import shared
from earwitness.case.named_set import read_set
from earwitness.case.takes import read_takes
from earwitness.pipeline.stated import Stated
from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.material import Built, CaseFiles, Revision
from earwitness.publication.publish import Publication, publish
from earwitness.records.errors import CaseError, IntegrityError
from earwitness.records.figures import Results
from earwitness.records.findings import Findings
from earwitness.records.quality import Quality
from earwitness.records.responses import Responses
from earwitness.records.takes import EVERY_PART, Take


def publish_case(root: Path, to: Path | None = None) -> Publication:
    """Page, PDF and data pack of the case at `root`, into ``publication/`` or the folder `to`.

    Raises
    ------
    NotAvailableError
        Nothing is built yet.
    IntegrityError
        The built files aren't one whole set, or the case has changed since they were built.
    BusyError
        Another process writes to the case.
    CaseError, CallError
        A file of the case can't be understood, or `to` holds something else.
    """
    case = CaseFolder.open(root)
    with shared(case):
        return publish(context_of(case), case.build, to or case.publication)


def context_of(case: CaseFolder) -> PublicationContext:
    """Everything that goes out of a case whose lock is held, without its downloads.

    Raises
    ------
    IntegrityError
        What was built isn't of today's ``case.toml``, ``takes.toml`` and raw files: the page would state of
        its curves what doesn't hold of them.
    """
    now = Stated.of(case)
    if read_set(case).build_id != now.build_id():
        problem = "isn't of case.toml, takes.toml, the raw files and the program as they are now"
        raise IntegrityError("build/", problem, "build again")
    stated = read_takes(case)
    built = Built(
        responses=load_responses(case.responses),
        curves=load_curves(case.curves),
        results=from_json(Results, case.results.read_bytes()),
        findings=from_json(Findings, case.findings.read_bytes()),
        quality=from_json(Quality, case.quality.read_bytes()),
    )
    files = CaseFiles(
        facts=now.facts,
        takes=_takes(stated, built.responses),
        raw_sha256=now.raw.sha256,
        verdict=_verdict(case),
        revisions=_revisions(case),
        orbits_stated=frozenset(
            d.orbit for t in stated if (d := t.key.direction) and d.angle_deg not in (0.0, 180.0)
        ),
    )
    return assemble(files, built)


def _takes(stated: tuple[Take, ...], reduced: Responses) -> tuple[Take, ...]:
    """What ``takes.toml`` states, with reduced takes as the build has them: turned, one for each part."""
    single = {take.id: take for take in stated if take.selector != EVERY_PART}
    return tuple((single | {take.id: take for take in reduced.takes}).values())


def _verdict(case: CaseFolder) -> str:
    if not case.verdict.is_file():
        return ""
    try:
        return case.verdict.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise CaseError("verdict.md", "isn't UTF-8 text", "save it as UTF-8") from error


def _revisions(case: CaseFolder) -> tuple[Revision, ...]:
    if not case.revisions.is_file():
        return ()
    try:
        entries = tomllib.loads(case.revisions.read_text(encoding="utf-8")).get("revision", [])
        return tuple(sorted((Revision(e["date"], str(e["text"])) for e in entries), key=lambda r: r.date))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError) as error:
        remedy = 'write each as [[revision]] with date = 2026-01-31 and text = "…"'
        raise CaseError("revisions.toml", "can't be understood", remedy) from error
