"""The reviewer's own words: what passes, and what can't do harm."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from earwitness.publication.markup import blocks
from earwitness.publication.verdict import Block, Span, parse


def test_paragraphs_styles_and_lists() -> None:
    assert parse("One **two** *three* `four`\n\n1. five\n2. six\n") == (
        Block(
            "paragraph",
            (
                Span("One "),
                Span("two", "strong"),
                Span(" "),
                Span("three", "emphasis"),
                Span(" "),
                Span("four", "code"),
            ),
        ),
        Block(
            "numbered",
            blocks=(
                Block("item", blocks=(Block("paragraph", (Span("five"),)),)),
                Block("item", blocks=(Block("paragraph", (Span("six"),)),)),
            ),
        ),
    )


def test_an_empty_verdict_has_no_blocks() -> None:
    assert parse("\n  \n") == ()


def test_html_is_text() -> None:
    page = str(blocks(parse('<script>alert(1)</script>\n\n<img src=x onerror="alert(1)">')))
    assert "<script" not in page
    assert "<img" not in page
    assert "&lt;script&gt;" in page


def test_only_http_links() -> None:
    links = "[a](javascript:alert(1)) [b](data:text/html,x) [c](file:///etc/passwd) [d](//x.example) [e](/x)"
    assert "href" not in str(blocks(parse(links)))
    good = str(blocks(parse("[a](https://x.example/?a=1&b=2) <http://y.example>")))
    assert 'href="https://x.example/?a=1&amp;b=2"' in good
    assert 'href="http://y.example"' in good


def test_a_picture_is_its_description() -> None:
    assert str(blocks(parse("![a waterfall](https://x.example/a.png)"))) == "<p>a waterfall</p>"


@given(st.text(max_size=300))
def test_no_text_makes_another_element(text: str) -> None:
    names = r"/?(p|h3|ul|ol|li|blockquote|pre|code|strong|em|br|hr|a)"
    allowed = names + r"( href=\"https?://[^\"<>]*\" rel=\"[a-z ]*\")?"
    for tag in re.findall(r"<([^>]*)>", str(blocks(parse(text)))):
        assert re.fullmatch(allowed, tag), tag
