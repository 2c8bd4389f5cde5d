"""The printed picture: the same description as SVG, PDF or PNG, the same bytes every time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from io import BytesIO
from types import MappingProxyType
from typing import Any, Final, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from earwitness.exhibits.bands import outlines
from earwitness.exhibits.description import Axis, Exhibit, LevelMap, Line, Mark, Panel, Role
from earwitness.exhibits.geometry import Box, Frame, Margins, frame, height_of
from earwitness.exhibits.labels import spread
from earwitness.exhibits.level_regions import level_lines, regions
from earwitness.exhibits.line_ends import line_ends, that_fit
from earwitness.exhibits.palette import BAND_OPACITY, MARK_OPACITY, STROKES, TOKENS, Mode, Tokens, steps
from earwitness.exhibits.typefaces import Cut
from earwitness.records.grid import Floats

Format = Literal["svg", "pdf", "png"]

#: In millimetres.
MARGINS: Final = Margins(left=9.0, right=30.0, top=6.5, bottom=7.0, gap=8.5)
WIDTH_MM: Final = 165.0
#: Narrower pictures carry the shorter names, in a narrower margin.
NARROW_MM: Final = 110.0
NARROW_MARGINS: Final = replace(MARGINS, right=16.0)
LABEL_GAP_MM: Final = 3.3
MM_PER_INCH: Final = 25.4
#: A stroke of one CSS pixel on the page is this heavy in print, in points.
POINTS_PER_PX: Final = 0.62
LABEL_PT: Final = 8.0
#: From the middle of a label's letters down to its baseline.
MIDDLE_MM: Final = 0.9
TICK_PT: Final = 7.5
HAIRLINE_PT: Final = 0.5
PNG_DPI: Final = 200

METADATA: Final[Mapping[Format, Mapping[str, Any]]] = {
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": None, "Producer": None},
    "png": {"Software": None},
}
NO_MARKS: Final[Mapping[Mark, str]] = MappingProxyType({})
#: Outlines instead of text in SVG, so that it looks the same where the fonts aren't installed.
SETTINGS: Final[dict[Any, Any]] = {
    "svg.hashsalt": "earwitness",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "path.simplify": True,
}


def draw(
    exhibit: Exhibit,
    mode: Mode | str = Mode.LIGHT,
    format: Format = "svg",
    width_mm: float = WIDTH_MM,
    marks: Mapping[Mark, str] = NO_MARKS,
) -> bytes:
    """Draw an exhibit.

    Parameters
    ----------
    mode
        ``light`` or ``dark``.
    file_format
        ``svg``, ``pdf`` or ``png``.
    width_mm
        The width of the whole picture; its height follows (IEC 60263).
    marks
        Places to mark with an accent band, each with the number of its statement (or nothing); those of other
        exhibits are left out.

    Returns
    -------
    bytes
        A file, without any date in it.
    """
    tokens = TOKENS[Mode(mode)]
    narrow = width_mm < NARROW_MM
    placed = frame(exhibit, width_mm, NARROW_MARGINS if narrow else MARGINS)
    figure = Figure(
        figsize=(placed.width / MM_PER_INCH, placed.height / MM_PER_INCH), facecolor=tokens.ground
    )
    FigureCanvasAgg(figure)
    for i, (panel, box) in enumerate(zip(exhibit.panels, placed.boxes, strict=True)):
        axes = figure.add_axes(_shares(box, placed))
        axes.set_facecolor("none")
        axes.set_label(panel.id)
        lowest = i == len(placed.boxes) - 1
        _scales(axes, panel, tokens, with_frequencies=lowest)
        _content(axes, panel, tokens)
        _names(figure, panel, box, tokens, short=narrow)
        _units(figure, panel, box, tokens, lowest=lowest)
        for mark, number in marks.items():
            if (mark.exhibit, mark.panel) == (exhibit.id, panel.id):
                _mark(axes, mark, number, tokens)
    out = BytesIO()
    with mpl.rc_context(SETTINGS):
        figure.savefig(
            out,
            format=format,
            dpi=PNG_DPI,
            facecolor=tokens.ground,
            metadata=dict(METADATA[format]),
        )
    return out.getvalue()


def _shares(box: Box, placed: Frame) -> tuple[float, float, float, float]:
    """Left, bottom, width and height of the axes as shares of the figure."""
    return (
        box.left / placed.width,
        1.0 - (box.top + box.height) / placed.height,
        box.width / placed.width,
        box.height / placed.height,
    )


def _font(cut: Cut, size_pt: float) -> FontProperties:
    return FontProperties(fname=str(cut.path), size=size_pt)


def _scales(axes: Axes, panel: Panel, tokens: Tokens, *, with_frequencies: bool) -> None:
    axes.set_xscale("log" if panel.x_axis.logarithmic else "linear")
    axes.set_yscale("log" if panel.y_axis.logarithmic else "linear")
    axes.set_xlim(panel.x_axis.minimum, panel.x_axis.maximum)
    axes.set_ylim(panel.y_axis.minimum, panel.y_axis.maximum)
    axes.set_xticks(*_ticks(panel.x_axis, shown=with_frequencies), minor=False)
    axes.set_xticks([], minor=True)
    axes.set_yticks(*_ticks(panel.y_axis, shown=True), minor=False)
    axes.set_yticks([], minor=True)
    axes.tick_params(length=0.0, pad=2.5, colors=tokens.quiet)
    for text in axes.get_xticklabels():
        text.set_fontproperties(_font(Cut.SANS, TICK_PT))
    for text in axes.get_yticklabels():
        text.set_fontproperties(_font(Cut.SANS, TICK_PT))
        text.set_verticalalignment("center")
    axes.grid(visible=True, color=tokens.grid, linewidth=HAIRLINE_PT)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set_visible(False)
    if panel.y_axis.minimum < 0.0 < panel.y_axis.maximum and panel.level_map is None:
        axes.axhline(0.0, color=tokens.rule, linewidth=2.0 * HAIRLINE_PT, zorder=1.5)


def _ticks(axis: Axis, *, shown: bool) -> tuple[list[float], list[str]]:
    return [value for value, _ in axis.ticks], [text if shown else "" for _, text in axis.ticks]


def _content(axes: Axes, panel: Panel, tokens: Tokens) -> None:
    if panel.level_map is not None:
        _map(axes, panel.level_map, tokens)
    for line in panel.lines[::-1]:
        _band(axes, line, tokens)
    for line in panel.lines[::-1]:
        stroke = STROKES[line.role]
        weight = stroke.weight * POINTS_PER_PX
        dash = (0.0, tuple(length / stroke.weight for length in stroke.dash)) if stroke.dash else "solid"
        axes.plot(
            line.x,
            line.y,
            color=tokens.roles[line.role],
            linewidth=weight,
            linestyle=dash,
            gid=f"line-{line.label}".replace(" ", "-"),
            solid_joinstyle="round",
        )


def _band(axes: Axes, line: Line, tokens: Tokens) -> None:
    rings = outlines(line)
    if rings:
        colour = to_rgba(tokens.roles[line.role], BAND_OPACITY)
        patch = PathPatch(_compound(rings), facecolor=colour, linewidth=0.0, zorder=1.8)
        patch.set_gid(f"band-{line.curve}")
        axes.add_patch(patch)


def _map(axes: Axes, level_map: LevelMap, tokens: Tokens) -> None:
    areas = regions(level_map)
    for area, colour in zip(areas, steps(tokens, len(areas)), strict=True):
        if area.rings:
            patch = PathPatch(_compound(area.rings), facecolor=colour, linewidth=0.0, zorder=1.6)
            patch.set_gid(f"area-{area.at_least_db:g}" if area.at_least_db is not None else "area")
            axes.add_patch(patch)
    for level in level_lines(level_map):
        weight = (2.4 if level.heavy else 0.7) * POINTS_PER_PX
        for path in level.paths:
            axes.plot(path[:, 0], path[:, 1], color=tokens.ground, linewidth=weight, zorder=1.7)


def _compound(rings: tuple[Floats, ...]) -> Path:
    return Path.make_compound_path(*(Path(ring, closed=True) for ring in rings))


def _mark(axes: Axes, mark: Mark, number: str, tokens: Tokens) -> None:
    axes.axvspan(
        mark.from_hz,
        mark.to_hz,
        color=tokens.accent,
        alpha=MARK_OPACITY,
        linewidth=0.0,
        gid="mark",
        zorder=1.75,
    )
    axes.annotate(
        number,
        ((mark.from_hz * mark.to_hz) ** 0.5, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0.0, -2.5),
        textcoords="offset points",
        color=tokens.accent,
        fontproperties=_font(Cut.SANS_SEMIBOLD, LABEL_PT),
        ha="center",
        va="top",
    )


def _names(figure: Figure, panel: Panel, box: Box, tokens: Tokens, *, short: bool) -> None:
    """The names at the line ends; the lowest leaves room for the unit of the frequency axis."""
    room = box.height - LABEL_GAP_MM / 2
    ends = that_fit(line_ends(panel), LABEL_GAP_MM, room)
    wanted = [height_of(panel, box, end.y) for end in ends]
    heights = spread(wanted, LABEL_GAP_MM, box.top, box.top + room)
    for end, height in zip(ends, heights, strict=True):
        at = (box.left + box.width + 1.6, float(height) + MIDDLE_MM)
        font = _font(Cut.SANS if end.role is Role.QUIET else Cut.SANS_SEMIBOLD, LABEL_PT)
        _write(figure, at, end.short if short else end.text, tokens.roles[end.role], font)


def _units(figure: Figure, panel: Panel, box: Box, tokens: Tokens, *, lowest: bool) -> None:
    """What the panel's axes count: above it, and at the end of the lowest axis."""
    font = _font(Cut.SANS, TICK_PT)
    axis = panel.y_axis
    _write(figure, (box.left, box.top - 1.6), axis.heading, tokens.quiet, font)
    if lowest:
        at = (box.left + box.width + 4.0, box.top + box.height + 3.2)
        _write(figure, at, panel.x_axis.unit, tokens.quiet, font)


def _write(figure: Figure, at_mm: tuple[float, float], text: str, colour: str, font: FontProperties) -> None:
    """Text whose baseline begins at a point, from the upper left corner."""
    width, height = figure.get_size_inches() * MM_PER_INCH
    x, y = at_mm[0] / width, 1.0 - at_mm[1] / height
    figure.text(x, y, text, color=colour, fontproperties=font, ha="left", va="baseline", parse_math=False)
