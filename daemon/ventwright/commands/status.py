"""`ventwright status`: what the running daemon sees and does, in a few lines."""

import json
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import config_option, fail, json_option, settings_or_exit
from ventwright.commands.sources import commissioned_words, source_lines
from ventwright.control.client import NotRunningError, ask
from ventwright.courier.accounts import counts
from ventwright.reporting.load import alarm_load, load_lines
from ventwright.settings.durations import format_duration
from ventwright.settings.model import Settings
from ventwright.source.uses import clearance_lines, clearances
from ventwright.storage.damage import were_set_aside

CAUTION = (
    "Low-cost optical sensors do not see ultrafine particles; "
    "a low reading is no proof of clean air."
)


def _number(value: float | None, unit: str) -> str:
    return "unknown" if value is None else f"{value:g} {unit}"


def _channel_line(name: str, channel: dict[str, Any]) -> str:
    line = f"  {name:<12}{_number(channel['mean over 1 min'], channel['unit']):>16} over 1 min"
    if channel["rise"] is not None:
        line += f", {channel['rise']:+g} over a baseline of {channel['baseline']:g}"
        line += " (still young)" if channel["baseline is young"] else ""
    if channel["ratio to clean air"] is not None:
        line += f", {channel['ratio to clean air']:g} of clean air ({channel['baseline']:g})"
    if channel["quality"] == "good":
        return line
    left = channel["warm-up left (s)"] if channel["quality"] == "warming up" else 0
    return f"{line}, now {channel['quality']}" + (f" for {left} s more" if left else "")


def _laser(part: dict[str, Any]) -> str:
    if part["laser on (h)"] is None:
        return ""
    life = f" of about {part['laser life (h)']} h" if part["laser life (h)"] else ""
    rests = part["rests for (s)"]
    rest = f", rests for {format_duration(1000 * rests)} at a time" if rests else ""
    return f", laser on for {part['laser on (h)']} h{life}{rest}"


def _part_lines(name: str, part: dict[str, Any]) -> Iterator[str]:
    why = f": {part['why']}" if part["why"] else ""
    warm = part["warm-up left (s)"]
    warming = f", warming up for {warm} s more" if warm else ""
    yield f"{name} ({part['model']}) is {part['state']}{why}{warming}{_laser(part)}"
    for quantity, channel in part["channels"].items():
        yield _channel_line(quantity, channel)


def _alarm_line(name: str, alarm: dict[str, Any], now: int) -> str:
    over, unit = format_duration(alarm["over (s)"] * 1000), alarm["unit"]
    line = (
        f"alarm {name}: {alarm['state']} - {alarm['compare']} of {alarm['channel']} over {over}"
        f" is {_number(alarm['value'], unit)}, setpoint {_number(alarm['setpoint'], unit)}"
    )
    line += f", for {_ago(now, alarm['since'])}" if alarm["since"] is not None else ""
    habits = [habit for habit in ("chattering", "standing") if alarm.get(habit)]
    return line + (f" ({' and '.join(habits)})" if habits else "")


def _ago(now: int, since: int) -> str:
    return format_duration(max(1000, (now - since) // 1000 * 1000))


def _relay_words(extractor: dict[str, Any], failing: str) -> str:
    """Say where the relay is, which a failing one does not show."""
    on = "on" if extractor["on"] else "off"
    said = f"relay commanded {on}, does not answer" if failing else f"relay {on}"
    waits = extractor["waiting for a minimum time"]
    return f"{said} (waiting for its minimum time)" if waits else said


def _extractor_line(name: str, extractor: dict[str, Any], now: int, failing: str) -> str:
    relay = _relay_words(extractor, failing)
    line = f"extractor {name}: {extractor['state']}, {relay}, since {_ago(now, extractor['since'])}"
    line += f", held by {extractor['held by']}" if extractor["held by"] else ""
    return line + "".join(f"; {remark}" for remark in _remarks(extractor))


def _remarks(extractor: dict[str, Any]) -> Iterator[str]:
    if ceiling := extractor.get("ceiling"):
        yield f"until {ceiling['channel']} reaches {ceiling['value']:g}"
    if extractor.get("quiet hours keep it off"):
        yield "asked for, and kept off by its quiet hours"
    if extractor.get("rests until") is not None:
        yield "resting after its longest run"
    if (speed := extractor.get("fan speed (1/min)")) is not None:
        yield f"turning at {speed:.0f} 1/min"
    if extractor.get("clearance is low"):
        yield "CLEARS LESS than commissioned: filter, duct, window?"


def caution(told: dict[str, Any]) -> str:
    """Say what optical parts do not see, if there are any: only these count a laser's hours."""
    optical = any(part["laser on (h)"] is not None for part in told["parts"].values())
    return CAUTION if optical else ""


def lines(told: dict[str, Any]) -> Iterator[str]:
    """Write a status for people, a line each."""
    yield f"{told['room']}, {time.strftime('%d %B %H:%M:%S')}"
    for name, part in told["parts"].items():
        yield from _part_lines(name, part)
    for name, alarm in told["alarms"].items():
        yield _alarm_line(name, alarm, told["now"])
    for name, extractor in told["extractors"].items():
        relay = told["relays"].get(extractor["relay"], {})
        yield _extractor_line(name, extractor, told["now"], relay.get("failing", ""))
        if found := extractor.get("commissioned"):
            yield f"  {commissioned_words(found, told['offset'])}"
    for name, source in told.get("sources", {}).items():
        yield from source_lines(name, source, told["now"], told["offset"])
    for name, relay in told["relays"].items():
        if relay["failing"]:
            yield f"relay {name} FAILS: {relay['failing']}"
    yield _store_line(told["store"])
    if not told["clock is right"]:
        yield "clock: not yet known to be right; nothing is pushed until it is"


def _store_line(store: dict[str, Any]) -> str:
    failing, used = store["failing"], store.get("used (MB)")
    line = f"store: NOT storing: {failing}" if failing else "store: storing"
    size = f", {used:g} MB of at most {store['most (MB)']} used" if used is not None else ""
    tight = "; too little room, so readings are kept for less time" if store.get("tight") else ""
    aside = "; a damaged one was set aside: " if store.get("set aside") else ""
    return line + size + tight + aside + ", ".join(store.get("set aside", []))


def courier_lines(settings: Settings, counted: dict[str, Any]) -> Iterator[str]:
    """Write what became of readings and messages; of readings it is saved every 5 min only."""
    number = defaultdict(int, counted)
    if settings.database:
        yield (
            f"database: {number['pushed']} samples pushed, {number['waiting']} waiting, "
            f"{number['empty']} without a value, {number['refused']} refused, "
            f"{number['dropped']} dropped, {number['gone']} too old "
            "for the store before they were pushed (as of up to 5 min ago)"
        )
        yield (
            f"database: {number['events_pushed']} events pushed, {number['events_waiting']} "
            f"waiting, {number['events_refused']} refused, {number['events_dropped']} dropped, "
            f"{number['events_gone']} too old for the store before they were pushed"
        )
    if spoilt := number["spoilt"]:
        yield f"store: {spoilt} of its events cannot be read, nobody was told of them (see the log)"
    for refused in counted.get("latest_refused", [])[-1:]:
        yield f"database: the latest refusal: {refused}"
    if settings.phone:
        yield _phone_line(number)
    yield from _trouble_lines(counted.get("troubles", {}))


_FAILING = {
    "database": "database: bucket {} failing",
    "services": "phone: notifications by service {} failing",
    "chores": "chore {}: not done",
}


def _trouble_lines(troubles: dict[str, Any]) -> Iterator[str]:
    """Say what fails in the courier and since when, for nobody may get a message about it."""
    for kind, words in _FAILING.items():
        for name, trouble in troubles.get(kind, {}).items():
            yield f"{words.format(name)} since {_since(trouble['since'])}: {trouble['why']}"


def _since(unix_ms: int | None) -> str:
    if unix_ms is None:
        return "before the clock was known to be right"
    return time.strftime("%d %B %H:%M", time.localtime(unix_ms / 1000))


def _phone_line(number: dict[str, Any]) -> str:
    """Count what each service was to be told; with two services a message counts twice."""
    later, passed = number["told_later"], number["passed_over"]
    delivered, waiting, given_up = (
        number[name] for name in ("delivered", "messages_waiting", "given_up")
    )
    together = f"{later} told together with a later one, " if later else ""
    over = f"; {passed} too old to be told when they were found" if passed else ""
    return (
        f"phone: {delivered} of {delivered + later + waiting + given_up} deliveries made, "
        f"{together}{waiting} waiting, {given_up} given up{over}"
    )


@click.command()
@config_option
@json_option
def status(config: Path, as_json: bool) -> None:
    """Tell what the running daemon sees and does."""
    settings = settings_or_exit(config)
    try:
        told = ask(settings.socket, "status")
    except NotRunningError as error:
        fail(str(error))
    if "room" not in told:
        fail(str(told.get("says", "the keeper gave no status")))
    told["store"]["set aside"] = [str(path) for path in were_set_aside(settings.store.folder)]
    told["courier"] = counts(settings.store.folder)
    told["alarm load"] = alarm_load(settings.store.folder, told["now"] + told["offset"])
    told["clearances"], told["clearances failing"] = clearances(settings.store.folder)
    told["caution"] = caution(told)
    if as_json:
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    after = (
        *clearance_lines(told["clearances"], told["clearances failing"]),
        *load_lines(told["alarm load"]),
        *courier_lines(settings, told["courier"]),
    )
    for line in filter(None, (*lines(told), *after, told["caution"])):
        click.echo(line)
