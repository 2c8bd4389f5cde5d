"""How wide a table is that goes into a file or a pipe."""

from __future__ import annotations

import pytest

from earwitness.cli.console import print_table

LONG = "word " * 60


@pytest.mark.parametrize(
    ("columns", "width"),
    [("80", 80), ("200", 200), (None, 160), ("", 160), ("0", 160), ("wide", 160), ("1", 20)],
)
def test_columns_are_honoured(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], columns: str | None, width: int
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    if columns is not None:
        monkeypatch.setenv("COLUMNS", columns)
    print_table(("file", "remark"), [("a.txt", LONG)])
    widths = [len(line) for line in capsys.readouterr().out.splitlines()]
    # a line ends with the last word that fits: within one word of the width
    assert width - 6 < max(widths) <= width
