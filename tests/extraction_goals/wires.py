"""One episode through wires: the real keeper as a process, emulated parts on pseudo-terminals.

Room, source, fan and commissioning are those that `episodes` plays on the bare core; what is told
is read from the store and asked over the socket, as a user would. Knows no goal.
"""

from dataclasses import replace
from pathlib import Path

from extraction_goals.episodes import CHANNEL, DUST, Episode, Life
from extraction_goals.sources import Shape
from ventwright.events import Record
from ventwright.rehearsal.conductor import Plan, Rehearsal
from ventwright.rehearsal.scenario import DEFAULT, PartSetup, Scenario, workshop_air
from ventwright.rehearsal.sensing import Sense
from ventwright.rehearsal.visitor import Visitor
from ventwright.rehearsal.world import START_MS
from ventwright.storage.reader import Reader

_LONGEST_S = 14_400
_AFTER_S = 600
_ALARM = {
    "channel": CHANNEL,
    "compare": "rise",
    "over": "1 min",
    "setpoint": 20.0,
    "deadband": 8.0,
    "on_delay": "30 s",
}
"""That of `episodes.house`."""
_SENSE = dict.fromkeys((*DUST, "coarse"), Sense(8.0, 1.0, 0.03, 0.3))


def wired(seed: int, shape: Shape, flow: float, folder: Path) -> Episode:
    """Live an episode in `folder`, which must not be there; kinds with a door are not played."""
    episode = Episode(seed, shape, flow)
    life = Life(episode)
    episode.records.clear()
    episode.begins, episode.ends = episode.begins + START_MS, episode.ends + START_MS
    episode.mass = sum(
        spell.rates.get(name, 0.0) * (spell.ends - spell.begins) / 3600
        for spell in life.spells
        for name in DUST
    )
    scenario = _scenario(life)
    visit = _Visit(episode, life.commissioned)
    Rehearsal(Plan(scenario, seed, None, folder, visit=visit), lambda _: None).hold()
    _read(episode, folder / "store")
    return episode


def _scenario(life: Life) -> Scenario:
    room = life.room
    air = [replace(p, start=room.levels[p.name]) for p in workshop_air()]
    return replace(
        DEFAULT,
        name="extraction goal",
        duration=_LONGEST_S,
        volume=room.volume,
        leakage=room.leakage,
        pollutants=tuple(air),
        spells=life.spells,
        parts=(PartSetup("bench", "pms5003", "serial", _SENSE),),
        exhaust=life.exhaust * life.episode.flow,
        extraction={"when_blind": "on"},
        alarms={"print-fumes": _ALARM},
    )


class _Visit:
    """Somebody hands over what was commissioned, and asks once a minute."""

    def __init__(self, episode: Episode, commissioned: dict[str, object]) -> None:
        self._episode = episode
        self._commissioned = dict(commissioned)

    def __call__(self, visitor: Visitor) -> None:
        visitor.wait(60)
        said = visitor.ask("commissioned", **self._commissioned)
        assert said["done"], said
        stopped = 0
        while stopped < _AFTER_S:
            visitor.wait(60)
            stopped = stopped + 60 if self._idle(visitor.ask("status")) else 0

    def _idle(self, told: dict[str, dict]) -> bool:  # type: ignore[type-arg]
        now, source = int(told["now"]), told["sources"][CHANNEL]  # type: ignore[call-overload]
        if source["clear"] and not source["clear"]["emits"]:
            self._episode.forecasts.append((now, source["clear"]))
        return now > self._episode.ends and not told["extractors"]["fan"]["on"]


def _read(episode: Episode, store: Path) -> None:
    reader = Reader(store)
    try:
        events = reader.events(limit=100_000)
    finally:
        reader.close()
    episode.records = [Record(e.t, e.kind, e.subject, e.body) for e in events]
    for record in episode.records:
        on = record.body.get("on") if record.kind == "extractor" else None
        if on is not None and on != (bool(episode.on) and episode.on[-1][1]):
            episode.on.append((record.t, on))
    cleared = episode.of("alarm", "cleared")
    episode.cleared = cleared[-1].t if cleared else None
