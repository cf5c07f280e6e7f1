"""Every message that the program can send, to be read as a whole.

`cd tests && python -m daemon.notifying.every_message` prints them as a phone shows them.
"""

from collections.abc import Iterator
from typing import Any

from ventwright.alarms.dose import DOSED
from ventwright.events import DIED, SPOILT
from ventwright.notifying.message import Context, Message
from ventwright.notifying.messages import (
    compose,
    database_back,
    database_failing,
    keeper_back,
    keeper_down,
    notes_begun_anew,
    store_back,
    store_failing,
)
from ventwright.notifying.outbox import fitted
from ventwright.settings.limits import limits
from ventwright.storage.reader import StoredEvent
from ventwright_drivers.quantities import QUANTITIES, Quantity

NOW = 1_800_000
CHANGES = ("raised", "worse", "cleared", "chattering", "standing")
COMPARISONS = ("mean", "rise", "rate", "forecast", "silence")
CLEAR = {"about": 3_060_000, "from": 2_760_000, "to": 3_480_000, "emits": True}


def clock_words(t: int) -> str:
    minutes = t // 60_000
    return f"{14 + minutes // 60}:{minutes % 60:02}"


LIMITS = {key: limit.in_message() for key, limit in limits().items()}
CONTEXT = Context("Room 12", LIMITS, {"board": "hood"}, clock_words)


def told(kind: str, subject: str, **body: Any) -> Message:
    """The message of an event that deserves one."""
    message = compose(StoredEvent(1, 1, NOW, kind, subject, body), CONTEXT)
    assert message is not None, (kind, body)
    return message


def _plausible(quantity: Quantity) -> float:
    """A value that is too high, in the quantity's unit."""
    usual = {"n0_3": 240.0, "co2": 1700.0, "eco2": 1700.0, "temperature": 34.5, "humidity": 72.0}
    many = {
        "gas_resistance": 81_000.0,
        "voc_raw": 23_400.0,
        "nox_raw": 23_400.0,
        "pressure": 1021.0,
    }
    return {**usual, **many}.get(quantity.name, 27.4)


def _body(quantity: Quantity, compare: str) -> dict[str, Any]:
    value, unit = _plausible(quantity), quantity.unit
    units = {"rate": f"{unit} per min", "silence": "min", "departure": "%", "emission": "µg/h"}
    compared = {"rise": value / 2, "rate": value / 4, "silence": 30.0, "departure": 22.0}
    own = compared.get(compare, 3400.0 if compare == "emission" else value)
    return {
        "priority": "medium", "channel": f"bench.{quantity.name}", "quantity": quantity.name,
        "unit": units.get(compare, unit), "compare": compare,
        "over": {"forecast": 86_400_000, "silence": 1_800_000}.get(compare, 60_000),
        "value": own, "mean": value, "baseline": value / 2, "rise": value / 2, "young": False,
        "setpoint": 30.0 if compare == "silence" else 0.7 * own, "since": 300_000,
        "peak": 1.4 * own, "dose": 12.4 if compare in DOSED else None, "activations": 5,
        "reaches": 9_600_000 if compare == "forecast" else None,
        "limit": None, "optical": quantity.name in ("pm1", "pm2_5", "pm4", "pm10")
        or (quantity.name[:1] == "n" and quantity.name[1:2].isdigit()),
        "extractors": {"hood": "extracting"}, "clear": None,
    }  # fmt: skip


def alarms(name: str = "fumes") -> Iterator[Message]:
    """Every change of every kind of alarm on every quantity."""
    for quantity in QUANTITIES.values():
        kinds = ("departure", "silence") if quantity.raw else COMPARISONS
        kinds += ("emission",) if quantity.unit == "µg/m³" else ()
        for compare in kinds:
            for change in CHANGES:
                yield told("alarm", name, change=change, **_body(quantity, compare))


def special_alarms() -> Iterator[Message]:
    """What alarms say in special cases: ahead of time, without a fan, a baseline or a time."""
    pm, co = (_body(QUANTITIES[q], "rise") for q in ("pm2_5", "co"))
    mean, soon = (_body(QUANTITIES["pm2_5"], kind) for kind in ("mean", "forecast"))
    for changes in (
        {**pm, "expected": 31.0, "reaches": 1_980_000, "clear": CLEAR},
        {**pm, "extractors": {}, "young": True},
        {**pm, "limit": "who-pm2_5-24h", "extractors": {"hood": "held off", "wall": "blind"}},
        {**mean, "baseline": None, "rise": None},
        {**soon, "reaches": NOW},
        {**soon, "reaches": None, "limit": "who-pm2_5-24h"},
        {**co, "limit": "niosh-co-ceiling"},
        {**co, "extractors": {}, "limit": "acgih-co-8h"},
    ):
        yield told("alarm", "fumes", change="raised", **changes)
    for state in ("latched, unacknowledged", "latched, acknowledged"):
        yield told("alarm", "fumes", change="cleared", state=state, **pm)
    yield told("alarm", "fumes", change="cleared", **{**pm, "clear": {**CLEAR, "emits": False}})


def machines() -> Iterator[Message]:
    """What is said of fans, parts, relays, the store, the database and the program itself."""
    why = {"why": "bench.pm2_5 gave no trustworthy data for 2 min"}
    yield told("extractor", "hood", **{"from": "extracting"}, to="blind", on=True, **why)
    yield told("extractor", "hood", **{"from": "blind"}, to="standby", on=False, why="")
    yield told("extractor", "hood", about="longest run", why="it has run for 6 h on end", on=True)
    yield told("extractor", "hood", about="quiet hours", why="it waits for 07:00", on=False)
    yield told("part", "bench", change="lost", why="no answer")
    yield told("part", "bench", change="lost", why="laser failed", partly=True)
    yield told("part", "bench", change="back")
    channels, means = ["bench.pm2_5", "shelf.pm2_5"], [12.3, 30.1]
    pair = {"channels": channels, "means": means, "unit": "µg/m³", "counts": "shelf.pm2_5"}
    yield told("same air", "dust", change="disagree", **pair)
    yield told("same air", "dust", change="agree", **pair)
    for commanded in (True, False):
        yield told("relay", "board", change="failed", why="port gone", commanded=commanded)
        yield told("relay", "board", change="back", commanded=commanded)
    yield told("fan", "hood", change="failed", why="it is switched on, and stands still")
    yield told("fan", "hood", change="back")
    share = {"share": 0.52, "share_sigma": 0.06, "clearance": 3.1, "commissioned": 6.0}
    yield told("clearance", "hood", change="low", **share)
    yield told("clearance", "hood", change="back", **{**share, "share": 0.96})
    later = {"about": 6_660_000, "from": 6_000_000, "to": 7_380_000, "emits": False}
    total = {"total": 3100.0, "total_sigma": 240.0, "total_unit": "µg"}
    yield told("source", "bench.pm2_5", change="ended", clear=later, **total)


def itself() -> Iterator[Message]:
    """What is said of the store, the database and the program itself."""
    yield told("store", "store", change="set aside", why="a page is malformed", file="old.sqlite")
    yield told("store", "store", change="shortened", most=2000)
    yield from (store_failing(CONTEXT, "disk full"), store_back(CONTEXT, 3), store_back(CONTEXT, 0))
    yield told("keeper", "keeper", change="started", missed=720_000, why=DIED)
    yield told("keeper", "keeper", change="started", missed=None, why=DIED)
    yield told("keeper", "keeper", change="started", missed=720_000, why=SPOILT)
    yield from (keeper_down(CONTEXT, 90_000), keeper_back(CONTEXT))
    aside = "/var/lib/ventwright/courier.damaged-2026-11-25.sqlite"
    yield notes_begun_anew(CONTEXT, "database disk image is malformed", aside)
    yield database_failing(CONTEXT, 300_000, NOW)
    yield database_failing(CONTEXT, 300_000, NOW, events_only=True)
    yield database_back(CONTEXT, 300_000, NOW)


def every_message() -> list[Message]:
    """All of them."""
    return [*alarms(), *special_alarms(), *machines(), *itself()]


def _show() -> None:
    for message in every_message():
        print(f"[{message.priority}, {message.stage}] {fitted(message.title)}")
        for line in (fitted(message.unheard), message.body):
            if line:
                print(f"    {line}")


if __name__ == "__main__":
    _show()
