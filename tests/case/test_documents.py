from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import pytest
import specimen
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from earwitness.case.documents import SCHEMAS, from_json, schema, to_json
from earwitness.records.errors import CallError, IntegrityError
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Bound, Evidence, Figure, FigureName, NotAvailable, Quantity, Results
from earwitness.records.findings import Findings
from earwitness.records.sentences import Number, Quoted, Sentence, Term, Words
from earwitness.records.takes import TakeId
from earwitness.records.uncertainty import ComponentName


def plain(document: object) -> Any:
    return json.loads(to_json(document))


def test_documents_come_back() -> None:
    for half_empty in (False, True):
        results = specimen.results(half_empty)
        assert from_json(Results, to_json(results)) == results
    assert from_json(Findings, to_json(specimen.findings())) == specimen.findings()
    assert from_json(CaseFacts, to_json(specimen.facts())) == specimen.facts()


@pytest.mark.parametrize(
    "document",
    [specimen.results(), specimen.results(half_empty=True), specimen.findings(), specimen.facts()],
    ids=["results", "half empty", "findings", "facts"],
)
def test_written_as_the_library_that_reads_it_would(document: object) -> None:
    kind: Any = type(document)
    assert plain(document) == TypeAdapter(kind).dump_python(document, mode="json")


def test_refuses_to_write_what_is_no_record() -> None:
    with pytest.raises(TypeError):
        to_json({"a set": {1, 2}})


def test_bytes_are_ordered_utf8_with_a_newline() -> None:
    data = to_json(specimen.results())
    assert data == to_json(specimen.results())
    assert data.endswith(b"}\n")
    assert "−6 dB" in data.decode("utf-8")
    top = list(json.loads(data))
    assert top == ["build_id", "case", "figures", "program", "raw_digest", "schema_version"]


def test_a_figure_is_written_as_the_contract_says() -> None:
    figure = plain(specimen.results())["figures"][0]
    contract = (
        "name value unit uncertainty components conditions reading valid_band_hz method source evidence also"
    )
    assert sorted(figure) == sorted(contract.split())
    assert figure["value"] == {"kind": "quantity", "value": 86.4}
    assert figure["components"] == {"microphone": 0.3, "repeat": None}
    assert sorted(figure["source"]) == ["clause", "document", "edition", "standing"]
    assert sorted(figure["evidence"]) == ["curves", "takes"]


def with_value(value: float) -> Results:
    results = specimen.results()
    first = dataclasses.replace(results.figures[0], value=Quantity(value))
    return dataclasses.replace(results, figures=(first,))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_refuses_to_write_what_is_no_number(value: float) -> None:
    with pytest.raises(IntegrityError, match=r"Results, figures/0/value/value: a number is NaN or infinite"):
        to_json(with_value(value))


def altered(**changes: object) -> bytes:
    return json.dumps(plain(specimen.results()) | changes).encode()


REFUSED = [
    (b"", "isn't valid JSON"),
    (b"\xff", "isn't valid JSON"),
    (b"[" * 100_000, "isn't valid JSON"),
    (b"{}{}", "isn't valid JSON"),
    (b"{}", "doesn't fit the schema"),
    (b"{}, {}", "isn't valid JSON"),
    (to_json(with_value(1.5)).replace(b"1.5", b"NaN"), "isn't valid JSON"),
    (altered(schema_version="1"), "schema_version: doesn't fit the schema"),
    (altered(more=1), "more: doesn't fit the schema (unexpected keyword argument)"),
    (altered(figures=[{}]), "figures/0/name: doesn't fit the schema (missing)"),
    (to_json(with_value(1.5)).replace(b'"quantity"', b'"guess"'), "figures/0/value: doesn't fit"),
    (
        to_json(with_value(1.5)).replace(b'"text": "on axis"', b'"text": "on axis 1"'),
        "doesn't fit the schema",
    ),
]


@pytest.mark.parametrize(("data", "message"), REFUSED)
def test_refuses_to_read_what_is_no_such_document(data: bytes, message: str) -> None:
    with pytest.raises(IntegrityError) as caught:
        from_json(Results, data, "build/results.json")
    assert message in str(caught.value)
    assert str(caught.value).startswith("build/results.json")


FINITE = st.floats(allow_nan=False, allow_infinity=False)
TEXT = st.text(max_size=20)
WORDS = TEXT.filter(lambda text: not any(c.isdigit() for c in text))
PARTS = st.one_of(
    st.builds(Words, WORDS),
    st.builds(Number, TEXT, FINITE, TEXT),
    st.builds(Term, TEXT),
    st.builds(Quoted, TEXT, TEXT),
)
VALUES = st.one_of(
    st.builds(Quantity, FINITE),
    st.builds(Bound, FINITE, st.sampled_from(["at least", "at most"])),
    st.builds(NotAvailable, TEXT, st.none() | FINITE, st.lists(TEXT, max_size=3).map(tuple)),
)
FIGURES = st.builds(
    Figure,
    name=st.sampled_from(FigureName),
    value=VALUES,
    unit=TEXT,
    uncertainty=st.none() | FINITE,
    components=st.dictionaries(st.sampled_from(ComponentName), st.none() | FINITE, max_size=3),
    conditions=st.lists(PARTS, max_size=4).map(lambda parts: Sentence(tuple(parts))),
    reading=TEXT,
    valid_band_hz=st.none() | st.tuples(FINITE, FINITE),
    method=TEXT,
    source=st.just(specimen.CTA),
    evidence=st.builds(Evidence, st.just(()), st.lists(TEXT.map(TakeId), max_size=2).map(tuple)),
    also=st.dictionaries(TEXT, FINITE, max_size=2),
)


@given(st.lists(FIGURES, max_size=3))
def test_any_results_come_back(figures: list[Figure]) -> None:
    results = dataclasses.replace(specimen.results(), figures=tuple(figures))
    data = to_json(results)
    assert from_json(Results, data) == results
    assert to_json(from_json(Results, data)) == data


def referred(value: Any) -> set[str]:
    """Names of the definitions that a schema refers to."""
    if isinstance(value, dict):
        here = {value["$ref"]} if isinstance(value.get("$ref"), str) else set()
        return here.union(*(referred(inner) for inner in value.values()))
    return set().union(*(referred(inner) for inner in value)) if isinstance(value, list) else set()


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_a_schema_is_whole_and_closed(name: str) -> None:
    whole = schema(name)
    assert json.loads(json.dumps(whole)) == whole
    assert {ref.removeprefix("#/$defs/") for ref in referred(whole)} == set(whole["$defs"])
    assert set(whole["properties"]) == {field.name for field in dataclasses.fields(SCHEMAS[name])}
    for part in (whole, *whole["$defs"].values()):
        assert part.get("additionalProperties", "enum" not in part) is False


def test_results_require_all_that_is_written_and_a_case_only_its_name() -> None:
    assert set(schema("results")["required"]) == set(plain(specimen.results()))
    assert set(schema("results")["$defs"]["Quantity"]["required"]) == {"value", "kind"}
    assert schema("case")["required"] == ["unit"]
    assert schema("case")["$defs"]["Unit"]["required"] == ["name"]
    assert schema("case")["$defs"]["Rig"]["properties"]["temperature_c"]["anyOf"][0]["exclusiveMaximum"] == 60


def test_refuses_a_schema_that_is_none() -> None:
    with pytest.raises(CallError, match="the schemas are case, findings, quality, results"):
        schema("curves")
