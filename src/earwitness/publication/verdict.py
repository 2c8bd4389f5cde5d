"""``verdict.md`` as typed blocks, for the page and for the PDF alike.

CommonMark with raw HTML off: markup in the file is text. Links go to http and https only; pictures are
replaced by their description.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlsplit

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode


@dataclass(frozen=True, slots=True)
class Span:
    """A run of text in one style; `href` where it is a link. A ``break`` has no text."""

    text: str
    style: Literal["plain", "strong", "emphasis", "code", "break"] = "plain"
    href: str | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """A paragraph, heading, code block, quotation or list.

    `spans` hold the text of a paragraph, heading or code block; `blocks` what a quotation or a list item
    holds; the children of a list are items.
    """

    kind: Literal["paragraph", "heading", "code", "quotation", "bullets", "numbered", "item", "rule"]
    spans: tuple[Span, ...] = ()
    blocks: tuple[Block, ...] = ()

    @property
    def text(self) -> str:
        """The block's text without styles."""
        own = "".join("\n" if s.style == "break" else s.text for s in self.spans)
        return "\n".join([own, *(b.text for b in self.blocks)]) if self.blocks else own


def parse(markdown: str) -> tuple[Block, ...]:
    """The blocks of a verdict; none for an empty text."""
    reader = MarkdownIt("commonmark", {"html": False})
    reader.validateLink = _allowed  # type: ignore[method-assign]
    return tuple(_blocks(SyntaxTreeNode(reader.parse(markdown))))


def _allowed(url: str) -> bool:
    try:
        return urlsplit(url).scheme.lower() in {"http", "https"}
    except ValueError:
        return False


def _blocks(node: SyntaxTreeNode) -> Iterator[Block]:
    for child in node.children:
        match child.type:
            case "paragraph":
                yield Block("paragraph", _spans(child))
            case "heading":
                yield Block("heading", _spans(child))
            case "fence" | "code_block":
                yield Block("code", (Span(child.content.rstrip("\n"), "code"),))
            case "blockquote":
                yield Block("quotation", blocks=tuple(_blocks(child)))
            case "bullet_list":
                yield Block("bullets", blocks=tuple(_blocks(child)))
            case "ordered_list":
                yield Block("numbered", blocks=tuple(_blocks(child)))
            case "list_item":
                yield Block("item", blocks=tuple(_blocks(child)))
            case "hr":
                yield Block("rule")


def _spans(block: SyntaxTreeNode) -> tuple[Span, ...]:
    return tuple(span for inline in block.children for span in _inline(inline, "plain", None))


def _inline(
    node: SyntaxTreeNode, style: Literal["plain", "strong", "emphasis"], href: str | None
) -> Iterator[Span]:
    for child in node.children:
        match child.type:
            case "text":
                yield Span(child.content, style, href)
            case "code_inline":
                yield Span(child.content, "code", href)
            case "image":
                yield Span(child.content, style, href)
            case "softbreak":
                yield Span(" ", style, href)
            case "hardbreak":
                yield Span("", "break")
            case "strong":
                yield from _inline(child, "strong", href)
            case "em":
                yield from _inline(child, "strong" if style == "strong" else "emphasis", href)
            case "link":
                yield from _inline(child, style, str(child.attrs["href"]))
