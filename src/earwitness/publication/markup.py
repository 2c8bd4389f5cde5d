"""Typed prose as HTML. Everything passes through escaping here, once."""

from __future__ import annotations

import json

from markupsafe import Markup

from earwitness.publication.entries import anchor
from earwitness.publication.verdict import Block, Span
from earwitness.records.sentences import Number, Part, Quoted, Sentence, Term

_TAGS = {"paragraph": "p", "heading": "h3", "quotation": "blockquote", "bullets": "ul", "numbered": "ol"}
_STYLES = {"strong": "strong", "emphasis": "em", "code": "code"}


def sentence(prose: Sentence) -> Markup:
    """A sentence whose numbers are links to where they come from."""
    return Markup("").join(_part(p) for p in prose.parts)


def _part(part: Part) -> Markup:
    match part:
        case Number():
            return Markup(
                '<a class="n" href="#{}"><data class="n" value="{}" data-ref="{}">{}</data></a>'
            ).format(anchor(part.reference), f"{part.value:.10g}", part.reference, part.text)
        case Term():
            return Markup('<span class="t">{}</span>').format(part.text)
        case Quoted():
            return Markup('<span class="quoted" data-ref="{}">{}</span>').format(part.reference, part.text)
    return Markup("{}").format(part.text.replace(" ± ", "\u00a0±\u00a0"))


def blocks(prose: tuple[Block, ...]) -> Markup:
    """The verdict's blocks as HTML."""
    return Markup("\n").join(_block(b) for b in prose)


def _block(block: Block) -> Markup:
    if block.kind == "rule":
        return Markup("<hr>")
    if block.kind == "code":
        return Markup("<pre><code>{}</code></pre>").format(block.text)
    tag = Markup("li" if block.kind == "item" else _TAGS[block.kind])
    inner = Markup("").join(_span(s) for s in block.spans) + blocks(block.blocks)
    return Markup("<{}>{}</{}>").format(tag, inner, tag)


def _span(span: Span) -> Markup:
    if span.style == "break":
        return Markup("<br>")
    text = Markup("{}").format(span.text)
    if span.style in _STYLES:
        tag = Markup(_STYLES[span.style])
        text = Markup("<{}>{}</{}>").format(tag, text, tag)
    if span.href is not None:
        return Markup('<a href="{}" rel="noopener noreferrer">{}</a>').format(span.href, text)
    return text


def json_for_script(data: object) -> Markup:
    """JSON that can stand inside a ``script`` element: nothing in it can end the element."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)
