"""What a finding on a feature tells, as labelled lines: why, whether it is heard, what to do."""

from __future__ import annotations

from earwitness.publication.wording import Line, line
from earwitness.records.findings import Story


def story_lines(story: Story) -> tuple[Line, ...]:
    """One line for each thing that there is to tell, in the order in which a reader asks."""
    told = (
        ("Why", story.cause),
        ("Is it heard?", story.heard),
        ("What to do", story.mend),
        ("What would settle it", story.settle),
    )
    return tuple(line(label, text) for label, text in told if text.parts)
