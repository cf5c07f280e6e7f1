"""What `status` says of sources and rates: what emits, when the air is clear, what was measured."""

import math
import time
from collections.abc import Iterator
from typing import Any

_NINETY = 1.645


def source_lines(name: str, source: dict[str, Any], now: int, offset: int) -> Iterator[str]:
    """Write what is known of the source behind a channel, and when the air will be clear."""
    if source["emission"] is None:
        return
    yield f"source at {name}: {_emits(source, now) if source['emitting'] else _last(source, now)}"
    if not source.get("measured", True) and source["began"] is not None:
        yield "  by a guessed loss rate: the room is not commissioned (ventwright commission)"
    if clear := source["clear"]:
        times = [_clock(clear[key] + offset) for key in ("about", "from", "to")]
        when = f"clear by about {times[0]}, {times[1]} to {times[2]}"
        unsure = "" if clear.get("measured", True) else "if nothing emits any more: "
        yield f"  {'if it stopped now: ' if clear['emits'] else unsure}{when}"
        if clear["emits"]:
            yield "  while it emits, when the air is clear cannot be told"


def _emits(source: dict[str, Any], now: int) -> str:
    doubt = _NINETY * (source["emission_sigma"] or 0.0)
    rate = f"about {source['emission']:.0f} {source['unit']} (give or take {doubt:.0f})"
    return f"emits {rate}, {_put(source)} in {_minutes(now - source['began'])}"


def _last(source: dict[str, Any], now: int) -> str:
    if source["began"] is None or source["ended"] is None:
        return "nothing emits"
    ago = _minutes(now - source["ended"])
    lasted = _minutes(source["ended"] - source["began"])
    return f"nothing emits; the last emission, {ago} ago, put in {_put(source)} in {lasted}"


def _put(source: dict[str, Any]) -> str:
    doubt = _NINETY * source["total_sigma"]
    return f"{source['total']:.0f} {source['total_unit']} (give or take {doubt:.0f})"


def _minutes(ms: int) -> str:
    return f"{max(1, round(ms / 60_000))} min"


def _clock(unix_ms: int) -> str:
    return time.strftime("%H:%M", time.localtime(unix_ms / 1000))


def commissioned_words(found: dict[str, Any], offset: int) -> str:
    """Say what an extractor was found to do when it was commissioned, 1/h and m³/h, and when."""
    added = found["clearance"] - found["natural"]
    error = math.hypot(found["clearance_error"], found["natural_error"])
    flow, doubt = found["volume"] * added, found["volume"] * _NINETY * error
    when = time.strftime("%d %B %Y", time.localtime((found["t"] + offset) / 1000))
    return (
        f"commissioned on {when} on {found['channel']}: {found['clearance']:.2f}/h with it, "
        f"{found['natural']:.2f}/h without; it clears {flow:.0f} m³/h (give or take {doubt:.0f})"
    )
