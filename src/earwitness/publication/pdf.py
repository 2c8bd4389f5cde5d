"""The report as a tagged PDF (PDF/UA-1), set by Typst from JSON: no text of a case is ever source code."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import matplotlib
import typst
from matplotlib.ft2font import FT2Font

from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.palette import TOKENS, Mode
from earwitness.exhibits.typefaces import FONTS, Cut
from earwitness.publication.budget import Budget
from earwitness.publication.context import PublicationContext
from earwitness.publication.entries import Origin, anchor
from earwitness.publication.pictures import Pictures, picture_path
from earwitness.publication.quality import QualityPart
from earwitness.publication.verdict import Block
from earwitness.publication.wording import Line
from earwitness.records.findings import Finding
from earwitness.records.sentences import Number, Sentence
from earwitness.records.takes import TakeId

TEMPLATE: Final = Path(__file__).parent / "templates" / "report.typ"
#: Letters that our own cuts lack come from here; what even this lacks is replaced, since PDF/UA refuses it.
FALLBACK: Final = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
REPLACEMENT: Final = "□"
#: Parts of the report to which numbers lead that have no entry of their own.
SHARED: Final = ("from-case", "why-believe-it", "downloads", "findings")
Json = dict[str, Any]


def report(context: PublicationContext, pictures: Pictures) -> bytes:
    """The PDF of a publication; the same context gives the same bytes.

    Parameters
    ----------
    context
        The case, with its downloads.
    pictures
        The exhibits, and the place of each finding.
    """
    with TemporaryDirectory(prefix="earwitness-") as name:
        root = Path(name)
        shutil.copy(TEMPLATE, root / "report.typ")
        places = {_place_path(finding): svg for finding, svg in pictures.marked.items()}
        for path, content in {**pictures.stills, **places}.items():
            (root / path).parent.mkdir(exist_ok=True)
            (root / path).write_bytes(content)
        document = json.dumps(_displayable(_document(context)), allow_nan=False)
        (root / "report.json").write_text(document, "utf-8")
        made = typst.compile(
            str(root / "report.typ"),
            root=str(root),
            font_paths=[str(FONTS), str(FALLBACK.parent)],
            ignore_system_fonts=True,
            format="pdf",
            pdf_standards=["ua-1"],
        )
    if not isinstance(made, bytes):
        raise TypeError("the report came in more than one part")
    return made


def _displayable(document: Json) -> Json:
    """The document with characters replaced that no font of the report has; `replaced`: whether any was."""
    files = (Cut.SANS, Cut.SANS_SEMIBOLD, Cut.SERIF, Cut.SERIF_SEMIBOLD)
    known = set.intersection(*(set(FT2Font(str(cut.path)).get_charmap()) for cut in files))
    known |= set(FT2Font(str(FALLBACK)).get_charmap())
    found = _replaced(document, {chr(code) for code in known if chr(code).isprintable()} | {"\n"})
    return {**found, "replaced": found != document}


def _replaced(thing: Any, known: set[str]) -> Any:
    match thing:
        case str():
            return "".join(c if c in known else REPLACEMENT for c in thing)
        case list():
            return [_replaced(one, known) for one in thing]
        case dict():
            return {key: _replaced(value, known) for key, value in thing.items()}
    return thing


def _place_path(finding: str) -> str:
    return f"pictures/place-{hashlib.sha256(finding.encode()).hexdigest()[:16]}.svg"


def _document(c: PublicationContext) -> Json:
    tokens = TOKENS[Mode.LIGHT]
    return {
        "title": c.title,
        "colours": {name: getattr(tokens, name) for name in ("text", "quiet", "rule", "ground")},
        "anchors": [*(o.anchor for o in c.origins), *(s.anchor for s in c.take_sets), *SHARED],
        "header": {
            "eyebrow": [_parts(s) for s in c.header.eyebrow],
            "name": _parts(c.header.name),
            "facts": _lines(c.header.facts),
            "statement": _parts(c.header.statement) if c.header.statement else None,
        },
        "verdict": [_block(b) for b in c.verdict],
        "rows": [
            {"label": _parts(r.label), "value": _parts(r.value), "conditions": _parts(r.conditions)}
            for r in c.rows
        ],
        "findings": [_finding(f, c) for f in c.findings],
        "tally": _parts(c.tally),
        "exhibits": [_exhibit(e) for e in c.exhibits],
        "checked": _checked(c.checked) if c.checked else None,
        "separation": {
            "sentence": _parts(c.separation.sentence),
            "exhibit": _exhibit(c.separation.exhibit),
        }
        if c.separation
        else None,
        **_trust(c),
        "downloads": [{"name": d.name, "size": _parts(d.size), "sha256": d.sha256} for d in c.downloads],
        "revisions": [{"label": _parts(r.date), "text": _parts(r.text)} for r in c.revisions],
        "origins": [_origin(o, c) for o in c.origins],
        "take_sets": [
            {
                "anchor": s.anchor,
                "title": _parts(s.title),
                "value": _parts(s.value),
                "takes": _takes(s.takes, c),
            }
            for s in c.take_sets
        ],
        "raw_files": [{"path": f.path, "sha256": f.sha256, "anchor": f.anchor} for f in c.raw_files],
        "build_id": c.build_id,
        "program": c.program,
    }


def _exhibit(exhibit: Exhibit) -> Json:
    return {
        "letter": exhibit.letter,
        "title": exhibit.title,
        "picture": picture_path(exhibit),
        "alt": str(exhibit.alt),
        "caption": _parts(exhibit.caption),
        "conditions": _parts(exhibit.conditions),
    }


def _checked(checked: QualityPart) -> Json:
    return {
        "fit": checked.fit,
        "summary": _parts(checked.summary),
        "lines": [
            {
                "verdict": one.verdict.name.lower(),
                "words": _parts(one.words),
                "label": _parts(one.label),
                "text": _parts(one.text),
                "limit": _parts(one.limit),
                "remedy": _parts(one.remedy),
                "attention": one.wants_attention,
                "exhibit": one.picture.letter if one.picture else "",
            }
            for one in checked.lines
        ],
        "exhibits": [_exhibit(e) for e in checked.exhibits],
    }


def _trust(c: PublicationContext) -> Json:
    trust = c.trust
    return {
        "bands": [
            {"label": _parts(b.label), "words": _parts(b.words), "uncertainty": _parts(b.uncertainty)}
            for b in trust.bands
        ],
        "rig": _lines(trust.rig),
        "caution": _parts(trust.exposure.caution),
        "notes": [_parts(n) for n in trust.notes],
        "not_measured": _lines(trust.not_measured),
        "not_stated": _parts(trust.not_stated) if trust.not_stated else [],
        "cannot_tell": [_parts(s) for s in trust.cannot_tell],
        "methods": [
            {"document": _parts(m.document), "standing": m.standing, "figures": _parts(m.figures)}
            for m in trust.methods
        ],
        "budget": _budget(trust.budget) if trust.budget else None,
    }


def _budget(budget: Budget) -> Json:
    return {
        "columns": list(budget.columns),
        "rows": [
            {
                "label": _parts(r.label),
                "unit": r.unit,
                "total": _parts(r.total),
                "parts": [_parts(part) for part in r.parts],
            }
            for r in budget.rows
        ],
        "not_known": list(budget.not_known),
    }


def _finding(finding: Finding, c: PublicationContext) -> Json:
    marks = c.marks.get(finding.id, ())
    shown = [e for e in c.exhibits if e.id in {m.exhibit for m in marks}]
    return {
        "statement": _parts(finding.statement),
        "explanation": _parts(finding.explanation),
        "story": _lines(c.stories.get(finding.id, ())),
        "note": _parts(finding.note),
        "exhibits": [e.letter for e in shown],
        "picture": _place_path(finding.id) if marks else None,
        "alt": f"The place of this statement in exhibit {shown[0].letter}." if marks else "",
    }


def _origin(origin: Origin, c: PublicationContext) -> Json:
    shared = c.take_set(origin.takes)
    return {
        "anchor": origin.anchor,
        "title": _parts(origin.title),
        "value": _parts(origin.value),
        "method": origin.method,
        "lines": _lines(origin.lines),
        "curves": [{"to": to, "name": name} for to, name in origin.curves],
        "takes": [] if shared else _takes(origin.takes, c),
        "take_set": {"to": shared.anchor, "words": _parts(shared.words)} if shared else None,
    }


def _takes(takes: tuple[TakeId, ...], c: PublicationContext) -> list[Json]:
    return [{"to": c.raw_file(t).anchor, "name": str(t)} for t in takes]


def _lines(found: tuple[Line, ...]) -> list[Json]:
    return [{"label": _parts(one.label), "text": _parts(one.text)} for one in found]


def _parts(prose: Sentence) -> list[Json]:
    return [
        {"kind": p.kind, "text": p.text, "to": anchor(p.reference) if isinstance(p, Number) else ""}
        for p in prose.parts
    ]


def _block(block: Block) -> Json:
    return {
        "kind": block.kind,
        "spans": [{"text": s.text, "style": s.style, "href": s.href} for s in block.spans],
        "blocks": [_block(b) for b in block.blocks],
    }
