"""What the facts of a period come to, in sentences: a headline, short answers, what to do."""

from collections.abc import Iterator
from typing import Any

from ventwright.averaging.figures import COVERAGE
from ventwright.reporting.happenings import DAEMON
from ventwright.reporting.words import figure, hour_of, length, several, share, when

Told = dict[str, Any]

_WEAK = 0.75
"""Below this share of the commissioned clearance something is wrong with filter, duct or window."""


def main_of(facts: Told) -> Told:
    """Give the facts of the channel that the report is mainly about."""
    found: Told = next(one for one in facts["channels"] if one["channel"] == facts["main"])
    return found


def headline(facts: Told) -> str:
    """Say in one sentence how it was."""
    main = main_of(facts)
    if main["mean"] is None:
        return (
            f"Too little is known: {main['title']} was measured for "
            f"{share(main['coverage'])} of the time."
        )
    verdict = _days(main["title"], [day for day in facts["days"] if day["above"] is not None])
    if not (worst := main["worst hour"]):
        return verdict or "No whole hour is known yet."
    peak = f"The worst hour had {figure(worst['mean'], main['unit'])}"
    beside = "" if verdict else f" of {main['title']}"
    return f"{verdict}{peak}{beside}: {hour_of(worst['from'])}."


def _days(title: str, days: list[Told]) -> str:
    """Say how many whole days kept the guideline, with a space behind it; nothing without any."""
    above = sum(day["above"] for day in days)
    if not days:
        return ""
    if len(days) == 1:
        return f"{title} was {'above' if above else 'below'} the guideline for a day. "
    if not above:
        return f"{title} was below the guideline for a day on all {len(days)} days known. "
    return f"{title} was above the guideline for a day on {above} of {len(days)} days. "


def answers(facts: Told) -> Iterator[tuple[str, str, str]]:
    """Give the short answers: a question, its answer, and what belongs beside it."""
    main = main_of(facts)
    strict = strictest(main)
    bound = f"; {strict['limit']:g} is the guideline" if strict else ""
    told = figure(main["mean"], main["unit"])
    yield "How was the air?", told, f"mean of {main['title']}{bound}"
    if worst := main["worst hour"]:
        yield "When was it worst?", hour_of(worst["from"]), figure(worst["mean"], main["unit"])
    if strict:
        yield "How long above the guideline?", _above(strict), strict["says"]
    runs = sum(one["runs"] for one in facts["extractors"])
    hours = sum(one["hours"] for one in facts["extractors"])
    if facts["extractors"]:
        yield "How long did extraction run?", length(60 * hours), several(runs, "time")
    raised = facts["alarms"]["raised"]
    names = ", ".join(f"{name} {n}" for name, n in facts["alarms"]["by alarm"].items())
    yield "How many alarms?", several(raised, "alarm"), names or "nothing was raised"
    began = f" since {when(facts['since'])}" if facts["since"] != facts["from"] else ""
    beside = f"of the time{began}, {main['channel']}"
    yield "How much is known?", share(main["coverage"]), beside


def strictest(channel: Told) -> Told | None:
    """Choose the limit over the longest time, and of these the lowest."""
    return max(channel["limits"], key=lambda one: (_hours(one), -one["limit"]), default=None)


def _hours(limit: Told) -> float:
    number, unit = limit["averaging"].split()
    return float(number) / (60 if unit == "min" else 1)


def _above(limit: Told) -> str:
    if not limit["known"]:
        return "not known"
    return length(limit["minutes above"]) if limit["minutes above"] else "never"


def advice(facts: Told) -> Iterator[str]:
    """Say what to do, the most important first; nothing where nothing needs doing."""
    yield from _advice_on_data(facts)
    yield from _advice_on_air(facts)
    yield from _advice_on_extraction(facts)
    yield from _advice_on_alarms(facts["alarms"])


def _advice_on_data(facts: Told) -> Iterator[str]:
    for one in facts["losses"]:
        if one["to"] is None:
            what = f"{one['what'][0].upper()}{one['what'][1:]}"
            state = "does not run" if one["what"] == DAEMON else "is lost"
            yield f"{what} {state} since {when(one['from'])}: {one['why'] or 'nobody knows why'}."
    lost = {one["what"] for one in facts["losses"] if one["to"] is None}
    parts: dict[str, float] = {}
    for one in facts["channels"]:
        part = one["channel"].partition(".")[0]
        parts[part] = min(one["coverage"], parts.get(part, 1.0))
    for part, coverage in parts.items():
        if coverage < COVERAGE and not lost & {f"part {part}", DAEMON}:
            yield (
                f"{part} measured for {share(coverage)} of the time only: look at its cable, and "
                "at what happened."
            )


def _advice_on_air(facts: Told) -> Iterator[str]:
    above = [day for day in facts["days"] if day["above"]]
    if above and facts["extractors"]:
        yield (
            "The air was above the guideline for a day: let extraction start earlier (a lower "
            "setpoint), print fewer hours a day, or try whether an enclosure helps."
        )
    elif above:
        yield (
            "The air was above the guideline for a day: air the room while printing and for an "
            "hour after it, or have an extractor installed."
        )


def _advice_on_extraction(facts: Told) -> Iterator[str]:
    for one in facts["extractors"]:
        clearance = one.get("clearance")
        if not clearance:
            continue
        if clearance["share"] is not None and clearance["share"] < _WEAK:
            yield (
                f"{one['extractor']} cleared the air at {share(clearance['share'])} of what was "
                "commissioned: look at filter, duct and window."
            )
        elif clearance["commissioned"] is None and one["runs"]:
            yield (
                f"{one['extractor']} was never commissioned: `ventwright commission` measures how "
                "fast it clears this room, so that a clogged filter shows later."
            )


def _advice_on_alarms(alarms: Told) -> Iterator[str]:
    if alarms["standing"]:
        names = ", ".join(dict.fromkeys(alarms["standing"]))
        yield f"Still in alarm at the end: {names}."
    if alarms["a day"] > 10:
        name = max(alarms["by alarm"], key=lambda one: alarms["by alarm"][one])
        yield (
            f"{figure(alarms['a day'])} alarms a day are more than anybody heeds; most often "
            f"{name}: a longer on-delay or a wider deadband makes fewer."
        )
