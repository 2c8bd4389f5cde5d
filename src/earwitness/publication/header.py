"""The top of a publication: what the loudspeaker is, its price on a day, who lent it, who paid for what."""

from __future__ import annotations

from dataclasses import dataclass

from earwitness.publication.wording import Line, date_words, line, quoted_or_not_stated
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.sentences import Number, Quoted, Sentence, say


@dataclass(frozen=True, slots=True)
class Header:
    """What stands above everything else.

    Attributes
    ----------
    name
        The loudspeaker's name as the case writes it.
    eyebrow
        The quiet line over the name, in pieces that are set apart by dots.
    facts
        Price and its day, where the unit came from, who paid, sample and serial number, condition.
    statement
        The reviewer's own disclosure; None when there is none.
    """

    name: Sentence
    eyebrow: tuple[Sentence, ...]
    facts: tuple[Line, ...]
    statement: Sentence | None


def header(facts: CaseFacts) -> Header:
    """The top of the publication for a case."""
    unit, disclosure = facts.unit, facts.disclosure
    lines = [
        line("Price", _price(unit)),
        line("Unit from", quoted_or_not_stated(disclosure.unit_from, "case:disclosure.unit_from")),
        line("Paid for by", quoted_or_not_stated(disclosure.paid_by, "case:disclosure.paid_by")),
        line("Sample", _sample(unit)),
    ]
    if unit.condition:
        lines.append(line("Condition", say(Quoted(unit.condition, "case:unit.condition"))))
    statement = disclosure.statement
    return Header(
        name=say(Quoted(unit.name, "case:unit.name")),
        eyebrow=_eyebrow(facts),
        facts=tuple(lines),
        statement=say(Quoted(statement, "case:disclosure.statement")) if statement else None,
    )


def _eyebrow(facts: CaseFacts) -> tuple[Sentence, ...]:
    pieces = []
    if facts.number is not None:
        pieces.append(say("Case ", Number(f"{facts.number:03d}", float(facts.number), "case:number")))
    for text, reference in ((facts.unit.maker, "case:unit.maker"), (facts.unit.kind, "case:unit.kind")):
        if text:
            pieces.append(say(Quoted(text, reference)))
    return tuple(pieces)


def _price(unit: Unit) -> Sentence:
    if unit.price is None:
        return say("not stated")
    amount = say(Number(f"{unit.price:,.10g}".replace(",", "\u202f"), unit.price, "case:unit.price"))
    if unit.currency:
        amount = say(Quoted(unit.currency, "case:unit.currency"), " ") + amount
    if unit.price_date is None:
        return amount + say(", day not stated")
    return amount + say(" on ", Quoted(date_words(unit.price_date), "case:unit.price_date"))


def _sample(unit: Unit) -> Sentence:
    if unit.serial is None:
        return say("one unit, serial number not stated")
    return say("one unit, serial number ", Quoted(unit.serial, "case:unit.serial"))
