"""The page: one HTML file that works from disk, and the one script beside it."""

from __future__ import annotations

import base64
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from earwitness.exhibits.palette import TOKENS, Mode, Tokens
from earwitness.exhibits.plotly import SCRIPT, interactive
from earwitness.exhibits.typefaces import SANS_STACK, SERIF_STACK, WEB_FONTS
from earwitness.publication import markup
from earwitness.publication.context import PublicationContext
from earwitness.publication.pictures import picture_path

HERE: Final = Path(__file__).parent
#: What the page may load: itself, the script and pictures beside it, and nothing from anywhere else.
POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self' file:",
        "style-src 'unsafe-inline'",
        "img-src 'self' file: data:",
        "font-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    )
)


def page(context: PublicationContext, script_name: str = "earwitness.js") -> str:
    """The HTML of a publication, complete in text and tables without its script."""
    environment = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"sentence": markup.sentence, "blocks": markup.blocks}
    return environment.get_template("index.html").render(
        c=context,
        policy=POLICY,
        style=Markup(_style()),
        script=script_name,
        picture=picture_path,
        exhibit_data=markup.json_for_script({e.id: interactive(e) for e in context.pictured}),
        mark_data=markup.json_for_script(_marks(context)),
    )


def script() -> bytes:
    """The one script: the plotting library, how a picture is drawn, and what the page does."""
    spec = find_spec("plotly")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("plotly isn't installed")
    library = Path(spec.origin).parent / "package_data" / "plotly.min.js"
    sources = (library, SCRIPT, HERE / "static" / "page.js")
    return b"\n;\n".join(source.read_bytes() for source in sources)


def _marks(context: PublicationContext) -> list[dict[str, object]]:
    return [
        {
            "finding": finding.id,
            "number": str(number),
            "marks": [
                {"exhibit": m.exhibit, "panel": m.panel, "from_hz": m.from_hz, "to_hz": m.to_hz}
                for m in context.marks.get(finding.id, ())
            ],
        }
        for number, finding in enumerate(context.findings, start=1)
    ]


def _style() -> str:
    light, dark = (_variables(TOKENS[mode]) for mode in (Mode.LIGHT, Mode.DARK))
    return "\n".join(
        (
            *(_font_face(f.family, f.style, f.weights, f.path) for f in WEB_FONTS),
            f":root {{ --serif: {SERIF_STACK}; --sans: {SANS_STACK}; }}",
            f":root {{ {light} }}",
            f"@media (prefers-color-scheme: dark) {{ :root:not([data-mode=light]) {{ {dark} }} }}",
            f":root[data-mode=dark] {{ {dark} }}",
            f"@media print {{ :root:root:root {{ {light} }} }}",
            (HERE / "static" / "page.css").read_text("utf-8"),
        )
    )


def _variables(tokens: Tokens) -> str:
    names = ("ground", "raised", "text", "quiet", "rule", "grid", "accent")
    return " ".join(f"--{name}: {getattr(tokens, name)};" for name in names)


def _font_face(family: str, style: str, weights: tuple[int, int], path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode()
    return (
        f'@font-face {{ font-family: "{family}"; font-style: {style}; '
        f"font-weight: {weights[0]} {weights[1]}; "
        f'font-display: swap; src: url(data:font/woff2;base64,{data}) format("woff2"); }}'
    )
