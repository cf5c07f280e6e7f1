"""The short text of a day or a week that the phone gets. Plain Python: the courier makes it."""

from collections.abc import Iterator
from typing import Any

from ventwright.reporting.verdict import advice, headline, main_of, strictest
from ventwright.reporting.words import figure, length, several, share

Told = dict[str, Any]

_MOST_ADVICE = 3


def digest_title(facts: Told) -> str:
    """Write the title: `workshop: Week of 21 to 27 September 2026`."""
    return f"{facts['room']}: {facts['title']}"


def digest(facts: Told) -> str:
    """Write the digest, some ten lines."""
    return "\n".join(_lines(facts))


def _lines(facts: Told) -> Iterator[str]:
    main = main_of(facts)
    yield headline(facts)
    if (limit := strictest(main)) and limit["known"]:
        above = length(limit["minutes above"]) if limit["minutes above"] else "never"
        yield f"Above {limit['says']}: {above}."
    for one in facts["extractors"]:
        yield f"{one['extractor']} ran {length(60 * one['hours'])}, {several(one['runs'], 'time')}."
        if (found := one.get("clearance")) and found["words"]:
            yield found["words"]
    yield f"Alarms: {_alarms(facts['alarms'])}."
    for person in facts["people"]:
        yield from _person(person)
    yield f"{main['channel']} was measured for {share(main['coverage'])} of the time."
    todo = list(advice(facts))[:_MOST_ADVICE]
    yield f"To do: {' '.join(todo)}" if todo else "Nothing needs doing."
    if main["optical"]:
        yield "Ultrafine particles are not seen."


def _alarms(alarms: Told) -> str:
    names = ", ".join(f"{name} {n}" for name, n in alarms["by alarm"].items())
    return f"{alarms['raised']} ({names})" if names else "none"


def _person(person: Told) -> Iterator[str]:
    for total in person["total"]:
        if total["µg"] is not None:
            yield (
                f"{person['person']['name']}: {round(total['hours'], 1):g} h in the room, "
                f"{figure(total['µg'], 'µg')} breathed in."
            )
