"""Files as `recognise` takes them, for tests whose files hold nothing but what their names say."""

from __future__ import annotations

from earwitness.measurement.readers.contents import Contents, Form, Part
from earwitness.measurement.recognise import Arrived


def arrived(*paths: str) -> list[Arrived]:
    """Files of one part each, sound or responses by the end of their names."""
    return [Arrived(path, Contents(_form(path), (Part(),))) for path in paths]


def _form(path: str) -> Form:
    return Form.SOUND if path.lower().endswith((".wav", ".flac")) else Form.RESPONSES
