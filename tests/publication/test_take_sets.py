"""Long lists of takes stand once, under a name, and the short ones where they are needed."""

from __future__ import annotations

from publishable import takes

from earwitness.publication.context import PublicationContext
from earwitness.publication.take_sets import LONGEST_INLINE, take_sets
from earwitness.records.takes import Take, TakeKey, TakeKind


def test_each_long_list_stands_once() -> None:
    given = (*takes(), Take("near_field_woofer.wav", TakeKey(TakeKind.NEAR_FIELD, radiator="woofer")))
    ids = tuple(t.id for t in given)
    found = take_sets([ids, ids[:LONGEST_INLINE], ids[: LONGEST_INLINE + 1], ids], given)
    assert [(s.anchor, s.count) for s in found] == [("takes-0", len(ids)), ("takes-1", LONGEST_INLINE + 1)]
    assert str(found[0].title) == "Takes: horizontal orbit, with near field"
    assert str(found[1].title) == "Takes: horizontal orbit"
    assert str(found[0].value) == "37 takes"


def test_entries_find_their_list(context: PublicationContext) -> None:
    long = [o for o in context.origins if len(o.takes) > LONGEST_INLINE]
    assert long
    for origin in context.origins:
        shared = context.take_set(origin.takes)
        assert (shared is not None) == (origin in long)
        assert shared is None or shared.takes == origin.takes
