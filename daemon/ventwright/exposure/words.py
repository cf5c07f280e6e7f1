"""Says exposure in lines that people read."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from ventwright.averaging.telling import Told
from ventwright.averaging.words import CONVERTED, ULTRAFINE

NO_ADVICE = (
    "This is arithmetic on readings of low-cost parts, and no medical advice; the part stands "
    "where it stands, not at a nose."
)
BREATHED = (
    "Breathed in is not taken up: part of it is breathed out again. The rates are means of many "
    "people (from memory: check them before you rely on them)."
)
ELSEWHERE = "What is left of a day's guideline says nothing of the air in other places."
WORK = (
    "Limits at work are for healthy adults, never for homes and schools; time that is not listed "
    "counts as time without exposure."
)
INTAKE = (
    "An acceptable daily intake is for what is swallowed, all sources together; what is breathed "
    "in beside it shows the size only, and the share of the substance in the particles is yours."
)
MONOXIDE = (
    "Carbon monoxide kills: this is no alarm, certified CO alarms stay where they are, and when "
    "one sounds you leave."
)


def cautions(
    *, optical: bool, adult: bool, substance: bool, gas: bool, monoxide: bool
) -> list[str]:
    """List what belongs beside every figure of exposure."""
    some = (
        (MONOXIDE, monoxide),
        (INTAKE, substance),
        (WORK, adult),
        (CONVERTED, gas),
        (ULTRAFINE, optical),
    )
    return [NO_ADVICE, BREATHED, ELSEWHERE] + [text for text, fits in some if fits]


def number(value: float | None, digits: int = 3) -> str:
    """Write a number to three digits, without an exponent; a dash for none."""
    if value is None:
        return "-"
    shown = f"{value:.{digits}g}"
    return f"{float(shown):,.0f}".replace(",", " ") if "e+" in shown else shown


def percent(share: float | None) -> str:
    """Write a share as `83 %`; below 0.1 % as such."""
    if share is None:
        return "not known"
    return "below 0.1 %" if 0 < share < 0.001 else f"{100 * share:.{1 if share < 0.1 else 0}f} %"


def lines(told: Told) -> Iterator[str]:
    """Write an exposure, a line each."""
    person = told["person"]
    yield (
        f"{told['room']}: what {person['name']} took in ({person['age']} years, "
        f"{person['activity']} activity, {person['m³/h']:g} m³ of air an hour)"
    )
    for empty, days in groupby(told["days"], _empty):
        if empty:
            yield ""
            yield _nothing(list(days))
            continue
        for day in days:
            yield ""
            yield from _day(day)
    yield from _sums(told["total"], len(told["days"]))
    yield ""
    yield f"Rate: {person['rate from']} ({person['mark']})."
    yield from told["cautions"]


def _empty(day: Told) -> bool:
    """Tell whether nothing was recorded while somebody was in the room."""
    return bool(day["hours"]) and not any(one["coverage"] for one in day["channels"])


def _nothing(days: Sequence[Told]) -> str:
    named = days[0]["day"] if len(days) == 1 else f"{days[0]['day']} to {days[-1]['day']}"
    return f"{named}: nothing was recorded while in the room"


def _hours(hours: float) -> str:
    return f"{round(hours, 1):g} h"


def _day(day: Told) -> Iterator[str]:
    spans = ", ".join(f"{one['from'][11:16]} to {one['to'][11:16]}" for one in day["in the room"])
    if not day["hours"]:
        yield f"{day['day']}: not in the room"
        return
    yield f"{day['day']}: in the room{f' {spans}' if spans else ''}, {_hours(day['hours'])}"
    for channel in day["channels"]:
        yield from _channel(channel)
    for issuer, share in day["mixtures"].items():
        yield f"  substances with an 8-hour {issuer} together: {percent(share)} of what is allowed"


def _channel(channel: Told) -> Iterator[str]:
    head = f"  {channel['channel']} {channel['title']}:"
    if channel["mean"] is None:
        yield f"{head} readings cover {percent(channel['coverage'])} of it: too little to say"
        return
    yield f"{head} {number(channel['mean'])} {channel['unit']} while in the room"
    if "breathed in, µg" in channel:
        yield (
            f"    breathed in {number(channel['breathed in, µg'])} µg with "
            f"{number(channel['air breathed, m³'])} m³ of air"
        )
    for one in channel["day's guideline"]:
        yield f"    {_guideline(one, channel['unit'])}"
    for one in (*channel["worst"], *channel.get("at work", ())):
        yield f"    {_limit(one, channel['unit'])}"
    if intake := channel.get("intake"):
        yield (
            f"    {intake['substance']} at a share of {intake['share of the particles']:g}: "
            f"{number(intake['pg/kg'])} pg/kg, {percent(intake['share'])} of "
            f"{intake['acceptable pg/kg a day']:g} pg/kg a day ({intake['source']}; "
            f"{intake['mark']})"
        )


def _guideline(one: Told, unit: str) -> str:
    said = f"{percent(one['share taken'])} of {one['says']}"
    left = one["mean left for the rest of the day"]
    if one["share taken"] > 1:
        return f"{said}: used up"
    rest = f"; the rest of the day may have {number(left)} {unit}" if left is not None else ""
    return f"{said}: {percent(one['share left'])} left{rest}"


def _limit(one: Told, unit: str) -> str:
    if one["value"] is None:
        return f"the stay was shorter than the time of {one['says']}"
    above = ", ABOVE" if one["exceeded"] else " of"
    memory = " (figure from memory)" if one["mark"] == "from memory" else ""
    return f"{number(one['value'])} {unit}, {percent(one['share'])}{above} {one['says']}{memory}"


def _sums(total: Iterable[Told], days: int) -> Iterator[str]:
    if days > 1:
        yield ""
        yield f"over {days} days:"
        for one in total:
            mass = f", breathed in {number(one['µg'])} µg" if one["µg"] is not None else ""
            yield f"  {one['channel']}: {_hours(one['hours'])} known{mass}"
