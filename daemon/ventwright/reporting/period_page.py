"""The page of a day, a week or any other time: facts and pictures in the order of questions."""

from collections.abc import Iterable, Iterator
from typing import Any

from ventwright.averaging.words import AVERAGED, ULTRAFINE
from ventwright.drawing.shapes import Picture
from ventwright.exposure.words import BREATHED, ELSEWHERE, NO_ADVICE, percent
from ventwright.reporting.markup import Html, bullets, element, paragraph, section, table
from ventwright.reporting.page import answers as answer_list
from ventwright.reporting.page import figure as drawn
from ventwright.reporting.page import page
from ventwright.reporting.pictures import MOST_HOURS
from ventwright.reporting.verdict import advice, answers, headline, main_of
from ventwright.reporting.words import figure, hour_of, length, share, when

Told = dict[str, Any]

_MOST_ROWS = 30
STEPS = (
    "The steps of lightness change at a third, two thirds, once, twice and four times the "
    "guideline for a day, where there is one: an hour above it is no verdict on the day."
)


def period_page(facts: Told, pictures: Iterable[Picture], made: int) -> Html:
    """Write the page; `made` is Unix ms."""
    return page(
        room=facts["room"],
        title=facts["title"] if facts["over"] else f"{facts['title']}, up to {_until(facts)}",
        verdict=headline(facts),
        unseen=any(channel["optical"] for channel in facts["channels"]),
        inside=_sections(facts, pictures),
        notes=_notes(facts),
        made=made,
    )


def _until(facts: Told) -> str:
    return facts["to"][11:16] if facts["kind"] == "day" else when(facts["to"])


def _sections(facts: Told, pictures: Iterable[Picture]) -> Iterator[Html]:
    yield answer_list(answers(facts))
    todo = list(advice(facts))
    yield section("What to do", _do(todo))
    yield section(_question(facts), *(drawn(one) for one in pictures))
    yield section("What happened?", _episodes(facts["alarms"]), _losses(facts["losses"]))
    yield section("What did people breathe in?", _people(facts["people"]))
    yield section("How does each channel stand to the limits?", _limits(facts["channels"]))
    yield section("Does extraction work?", _extractors(facts["extractors"]))
    yield section("What was measured?", _channels(facts["channels"]))


def _question(facts: Told) -> str:
    if facts["kind"] == "day":
        return "How did the day go?"
    return "Which hours were bad?" if len(facts["days"]) <= MOST_HOURS else "Which days were bad?"


def _do(todo: list[str]) -> Html:
    inside = bullets(todo) if todo else paragraph("Nothing needs doing.")
    return element("div", inside, class_="do")


def _episodes(alarms: Told) -> Html:
    episodes = alarms["episodes"]
    if not episodes:
        return paragraph("No alarm was raised.")
    rows = [
        (
            f"{one['alarm']} ({one['priority']})",
            when(one["from"]),
            length(one["minutes"]) if one["to"] else f"{length(one['minutes'])}, and it stands",
            figure(one["peak"], one["unit"]),
            "yes" if one["acknowledged"] else "no",
        )
        for one in episodes[:_MOST_ROWS]
    ]
    load = (
        f"{alarms['raised']} raised, {figure(alarms['a day'])} a day. One operator of a plant is "
        f"to get at most {alarms['EEMUA 191 target, a day']} a day (EEMUA 191); a room needs far "
        "fewer."
    )
    more = len(episodes) - _MOST_ROWS
    rest = paragraph(f"And {more} more.") if more > 0 else ""
    heads = ("alarm", "from", "lasted", "highest", "acknowledged")
    return table(heads, rows) + rest + paragraph(load)


def _losses(losses: list[Told]) -> Html:
    rows = [
        (
            one["what"],
            when(one["from"]),
            length(one["minutes"]) if one["to"] else "until the end",
            one["why"] or "not known",
        )
        for one in losses[:_MOST_ROWS]
    ]
    return table(("lost", "from", "for", "why"), rows) if rows else ""


def _people(people: list[Told]) -> Html:
    if not people:
        return ""
    rows = [_person(person) for person in people]
    heads = ("who", "in the room", "mean while there", "breathed in", "most of a day's guideline")
    return table(heads, rows) + paragraph(NO_ADVICE)


def _person(person: Told) -> tuple[str, ...]:
    known = [one for day in person["days"] for one in day["channels"] if one["mean"] is not None]
    hours = sum(one["hours"] for one in known)
    if not known or not hours:
        return person["person"]["name"], "not known", "not known", "not known", "not known"
    mean = sum(one["mean"] * one["hours"] for one in known) / hours
    mass = sum(total["µg"] or 0 for total in person["total"])
    shares = [
        (one["day's guideline"][0]["share taken"], day["day"].split()[0])
        for day in person["days"]
        for one in day["channels"]
        if one["mean"] is not None and one["day's guideline"]
    ]
    most = max(shares, default=None)
    return (
        person["person"]["name"],
        f"{hours:g} h known",
        figure(mean, known[0]["unit"]),
        figure(mass, "µg"),
        f"{percent(most[0])}, {most[1]}" if most else "no guideline",
    )


def _limits(channels: list[Told]) -> Html:
    rows = [
        (
            f"{channel['channel']}, {one['says']}",
            figure(one["highest"], channel["unit"]),
            length(one["minutes above"]) if one["known"] else "not known",
            one["mark"],
        )
        for channel in channels
        for one in channel["limits"]
    ]
    heads = ("limit", "highest mean over its time", "time above", "figure is")
    return table(heads, rows) + paragraph(AVERAGED) if rows else ""


def _extractors(extractors: list[Told]) -> Html:
    rows = [
        (
            one["extractor"],
            length(60 * one["hours"]),
            str(one["runs"]),
            length(one["longest, min"]),
            (one.get("clearance") or {}).get("words") or "not measured in this time",
        )
        for one in extractors
    ]
    heads = ("extractor", "ran", "times", "longest", "clearance")
    return table(heads, rows) if rows else ""


def _channels(channels: list[Told]) -> Html:
    rows = [
        (
            f"{one['channel']}, {one['title']}",
            figure(one["mean"], one["unit"]),
            _worst(one),
            share(one["coverage"]),
            one["model"],
        )
        for one in channels
    ]
    heads = ("channel", "mean", "highest hour", "measured", "part")
    return table(heads, rows, "Means over the whole time; the highest hour is one by the clock.")


def _worst(channel: Told) -> str:
    worst = channel["worst hour"]
    if not worst:
        return "not known"
    return f"{figure(worst['mean'], channel['unit'])}, {hour_of(worst['from'])}"


def _notes(facts: Told) -> Iterator[str]:
    if any(channel["optical"] for channel in facts["channels"]):
        yield ULTRAFINE
    for person in facts["people"]:
        who = person["person"]
        yield f"Breathing of {who['name']}: {who['rate from']} ({who['mark']})."
    if facts["people"]:
        yield f"{BREATHED} {ELSEWHERE}"
    if main_of(facts)["limits"]:
        yield STEPS
    yield (
        "A mean is told only where readings cover three quarters of its time; hatched hours are "
        "not known, and not clean."
    )
