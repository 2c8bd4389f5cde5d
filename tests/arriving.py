"""Files as `recognise` takes them, for tests whose files hold nothing but what their names say."""

from __future__ import annotations

from earwitness.measurement.readers.contents import Contents, Form, Part
from earwitness.measurement.recognise import Arrived


def arrived(*paths: str) -> list[Arrived]:
    """Files of one part each, sound or responses by the end of their names."""
    return [Arrived(path, Contents(form_of(path), (Part(),))) for path in paths]


def form_of(path: str) -> Form:
    """Sound or responses, by the end of the name."""
    return Form.SOUND if path.lower().endswith((".wav", ".flac")) else Form.RESPONSES
