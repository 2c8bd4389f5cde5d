"""Text that tries to be code, through `new`, `add`, `build` and `publish`: it stays text everywhere."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from pathlib import Path
from xml.etree import ElementTree

import pytest
from chromium import WIDE, Visit
from playwright.sync_api import Browser
from prose import Prose, squeezed, text_of
from pypdf import PdfReader
from user import SCENARIO, earwitness, record

from earwitness.virtual.scenario import load

SCRIPT = '"><script>alert(1)</script>'
READ = '#read("/etc/passwd")'
FORMULA = '=HYPERLINK("https://x.example/","a")'
#: A file's name as a person may well write it, and as nobody should.
FOLDER = """it's "quoted" <img src=x onerror=alert(4)> #read(1) & more"""
VERDICT = f"""{SCRIPT}

<script>alert(2)</script><img src=x onerror="alert(3)">

{READ} and [a](javascript:alert(5)), ![b](https://x.example/c.png), [d](data:text/html;base64,PHNjcmlwdD4=).

```
#eval("1") </code><script>alert(6)</script>
```
"""
#: What would be in a file that got read, and what any of the scripts would have written.
SECRETS = ("root:x:0", "/bin/bash", "/usr/sbin/nologin")


def toml_text(text: str) -> str:
    """A TOML string of any text: the escapes of JSON are TOML's."""
    return json.dumps(text)


def hostile_facts(name: str) -> str:
    """The demo's facts with every text of a person replaced by something that tries to be code."""
    other = READ if name == SCRIPT else SCRIPT
    texts = {
        "name": name, "maker": other, "kind": SCRIPT, "serial": READ, "condition": FORMULA,
        "currency": SCRIPT,
        "unit_from": READ, "paid_by": SCRIPT, "statement": f"{READ} {SCRIPT}", "reference_axis": FORMULA,
        "microphone": SCRIPT, "room": READ, "text": f"{SCRIPT} {READ}",
    }  # fmt: skip
    facts = load(SCENARIO).facts.read_text("utf-8")
    for key, text in texts.items():
        # The radiators' own names come later in the file and are keys, not text.
        count = 0 if key == "text" else 1
        line = f"{key} = {toml_text(text)}".replace("\\", r"\\")
        facts = re.sub(rf'^{key} = ".*"$', line, facts, count=count, flags=re.MULTILINE)
    return facts


@pytest.fixture(scope="module", params=[SCRIPT, READ], ids=["script", "read"])
def name(request: pytest.FixtureRequest) -> str:
    found: str = request.param
    return found


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The recordings of one orbit; the off-axis ones in a folder with a hostile name."""
    names = [n for n in load(SCENARIO).names if not n.startswith("vertical")]
    folder = record(tmp_path_factory.mktemp("recordings"), names)
    (folder / FOLDER).mkdir()
    for file in folder.glob("horizontal_+0[1-9]0*.wav"):
        shutil.move(file, folder / FOLDER / file.name)
    return folder


@pytest.fixture(scope="module")
def case(name: str, recordings: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("hostile") / "case"
    earwitness("new", root, "--name", name)
    (root / "case.toml").write_text(hostile_facts(name), "utf-8")
    (root / "verdict.md").write_text(VERDICT, "utf-8")
    (root / "revisions.toml").write_text(
        f"[[revision]]\ndate = 2026-02-11\ntext = {toml_text(SCRIPT + READ)}\n", "utf-8"
    )
    earwitness("add", root, recordings, "--yes")
    earwitness("build", root)
    earwitness("publish", root)
    return root


def test_results_still_verify(case: Path) -> None:
    earwitness("verify", case)


@pytest.mark.browser
def test_nothing_runs_in_the_page(case: Path, name: str, browser: Browser) -> None:
    visit = Visit(browser, (case / "publication" / "index.html").as_uri(), WIDE)
    page = visit.page
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    for finding in page.query_selector_all(".finding[tabindex] h3"):
        finding.click()
    page.click("main a.n >> nth=0")
    for exhibit in visit.exhibits():
        visit.show(exhibit)
        box = page.locator(f"#exhibit-{exhibit} .plot").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert page.inner_text("h1") == name
    assert page.title() == name
    assert page.query_selector_all("img[src='x'], [onerror], a[href^='javascript:'], a[href^='data:']") == []
    scripts = page.evaluate("[...document.scripts].map((s) => s.type || s.getAttribute('src'))")
    assert scripts == ["earwitness.js", "application/json", "application/json"]
    assert FOLDER in page.inner_text("#raw-files")
    assert visit.complaints == []
    assert all(url.startswith(("file:", "data:")) for url in visit.requests)
    visit.context.close()


def test_the_page_is_the_text_that_was_written(case: Path, name: str) -> None:
    prose = Prose((case / "publication" / "index.html").read_text("utf-8"))
    (heading,) = prose.root.iter("h1")
    assert text_of(heading) == name
    written = text_of(prose.root)
    for text in (SCRIPT, READ, FORMULA, FOLDER, "<script>alert(2)</script>", "javascript:alert(5)"):
        assert text in written
    hrefs = [e.attrib["href"] for e in prose.root.iter("a")]
    assert all(h.startswith(("#", "data/", "report.pdf")) for h in hrefs)


def test_the_report_reads_no_file(case: Path, name: str) -> None:
    pdf = PdfReader(case / "publication" / "report.pdf")
    text = squeezed("".join(page.extract_text() for page in pdf.pages))
    for written in (name, SCRIPT, READ, FORMULA, FOLDER):
        assert squeezed(written) in text
    assert pdf.metadata is not None
    assert pdf.metadata.title == name
    actions = [a.get_object().get("/A", {}) for page in pdf.pages for a in page.get("/Annots", ())]
    assert [a for a in actions if a.get("/S") not in (None, "/GoTo")] == []


def test_no_secret_and_no_raw_markup_goes_out(case: Path) -> None:
    for path in sorted((case / "publication").rglob("*")):
        if not path.is_file() or path.name == "earwitness.js":
            continue
        content = path.read_bytes()
        assert not any(secret.encode() in content for secret in SECRETS), path
        if path.suffix in {".html", ".svg"}:
            assert SCRIPT.encode() not in content, path


def test_pictures_are_pictures(case: Path) -> None:
    for path in (case / "publication" / "pictures").glob("*.svg"):
        root = ElementTree.fromstring(path.read_text("utf-8"))
        tags = {element.tag.rpartition("}")[2] for element in root.iter()}
        assert not tags & {"script", "foreignObject", "image"}
        attributes = {key for element in root.iter() for key in element.attrib}
        assert not [key for key in attributes if key.lower().startswith("on")]


def test_tables_hold_no_formula(case: Path) -> None:
    for path in (case / "publication" / "data").glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_text("utf-8"), newline="")))
        assert len({len(row) for row in rows}) == 1
        for cell in (c for row in rows for c in row):
            assert not cell.startswith(("=", "@", "\t")), path
            assert not cell.startswith(("+", "-")) or float(cell) <= 0, path


def test_machine_readable_results_hold_the_text(case: Path, name: str) -> None:
    for file in ("results.json", "findings.json"):
        content = json.loads((case / "publication" / "data" / file).read_text("utf-8"))
        assert content["case"] == name
        assert (case / "build" / file).read_bytes() == (case / "publication" / "data" / file).read_bytes()
    claims = [f for f in content["findings"] if f["claim"]]
    assert claims
    for finding in claims:
        assert f"{SCRIPT} {READ}" in "".join(part["text"] for part in finding["statement"]["parts"])
