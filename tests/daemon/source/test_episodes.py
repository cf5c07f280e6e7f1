"""A few whole episodes on the core; `python -m extraction_goals` has the long form."""

import json
import math
from dataclasses import replace

import pytest

from extraction_goals import episodes
from extraction_goals.episodes import CHANNEL, KIND, Episode, Life, house, live
from extraction_goals.score import noticed, recoveries, told
from ventwright.events import Measured, Record, Request, Started
from ventwright.keeper.core import Core
from ventwright.rehearsal.room import Pollutant
from ventwright.rehearsal.scenario import workshop_air
from ventwright.replaying.rules import shipped_rules
from ventwright.settings.model import MINUTE, Extractor, Settings
from ventwright_drivers.part import Sample


@pytest.fixture(scope="module")
def healthy() -> Episode:
    return live(1, "even")


def test_the_source_is_told_with_begin_end_and_mass(healthy: Episode) -> None:
    found = told(healthy)
    assert found is not None
    assert abs(found.begin) <= 3 * MINUTE
    assert abs(found.end) <= 3 * MINUTE
    assert abs(found.mass) <= 0.15


def test_recovery_is_predicted_as_it_comes(healthy: Episode) -> None:
    held = recoveries(healthy, all_of_them=True)
    assert held
    assert all(one.good for one in held)


def test_a_source_that_goes_on_is_not_taken_for_a_failing_fan(healthy: Episode) -> None:
    assert noticed(healthy) is None
    proofs = healthy.of("clearance", "found")
    assert [proof.body["share"] for proof in proofs] == pytest.approx([1.0], abs=0.2)


def test_half_the_flow_is_told_once_and_gone_when_the_fan_is_repaired() -> None:
    failing = live(1, "even", 0.5)
    assert len(failing.of("clearance", "low")) == 1
    body = failing.of("clearance", "low")[0].body
    assert body["share"] < 0.75
    assert body["clearance"] < body["commissioned"]


def test_the_source_is_followed_through_a_restart() -> None:
    episode = Episode(1, "even", 1.0)
    life = Life(episode)
    for n in range(3000):
        life.second(n)
    before = life.core.sources.sources[CHANNEL]
    again = Life(Episode(1, "even", 1.0)).core
    again.restore(json.loads(json.dumps(life.core.save())), same_boot=True)
    after = again.sources.sources[CHANNEL]
    assert after.spell.on
    assert after.spell.began == before.spell.began
    assert after.estimate == pytest.approx(before.estimate, rel=1e-6)
    assert again.channels[CHANNEL].emission == pytest.approx(life.core.channels[CHANNEL].emission)


def _dirty_outside() -> tuple[Pollutant, ...]:
    return tuple(replace(p, outdoor=14.0) if p.name == "fine" else p for p in workshop_air())


def _shipped(volume: float) -> Settings:
    return replace(house(volume), alarms=shipped_rules([CHANNEL]).alarms)


def test_a_fan_that_brings_in_dirtier_air_does_not_run_for_ever(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(episodes, "workshop_air", _dirty_outside)
    monkeypatch.setattr(episodes, "house", _shipped)
    episode = live(1, "short")
    (cleared,) = (r for r in episode.of("alarm", "cleared") if r.subject == "print")
    assert cleared.body["setpoint"] - cleared.body["deadband"] <= cleared.body["value"]
    assert cleared.body["value"] < cleared.body["setpoint"]
    assert cleared.t > episode.ends + 30 * MINUTE
    assert [on for _, on in episode.on] == [True, False]


def both_fans() -> Core:
    """A core with two commissioned extractors, which one alarm runs."""
    plain = house(40.0)
    relays = {name: replace(plain.relays["fan-relay"]) for name in ("fan-relay", "hood-relay")}
    fans = {"fan": Extractor("fan-relay", "on"), "hood": Extractor("hood-relay", "on")}
    core = Core(replace(plain, relays=relays, extractors=fans), {"bench": KIND}, 0)
    core.handle(Started(0, "bench"))
    words = {"channel": CHANNEL, "volume": 40.0, "natural": 1.0, "natural_error": 0.05}
    words |= {"clearance_error": 0.2, "points": 100, "method": "decay"}
    for n, (name, clearance) in enumerate([("fan", 4.0), ("hood", 6.0)]):
        asked = {"name": name, "clearance": clearance, **words}
        core.handle(Request(n + 1, "ada", "commissioned", asked))
    return core


def test_clearances_of_extractors_that_run_together_add_and_none_is_judged() -> None:
    """Both together clear a third of what they should: told of neither, for it may be either."""
    core, records = both_fans(), []
    for n in range(4800):
        level = 5.0 if n < 1800 else 5 + 120 * math.exp(-3.7 * max(0, n - 1900) / 3600)
        air = Measured(1000 * (n + 1), "bench", Sample((level, level, level)))
        records += [a for a in core.handle(air) if isinstance(a, Record)]
        if n == 2400:
            source = core.sources.sources[CHANNEL]
            assert source.running == "fan+hood"
            assert source.bank is not None
            assert source.bank.assumed.added == pytest.approx(8.0)
    assert {r.subject for r in records if r.kind == "extractor"} == {"fan", "hood"}
    assert not [r for r in records if r.kind == "clearance"]
