"""One use of a weak fan through wires; `python -m extraction_goals --wires` has the long form."""

from pathlib import Path

from extraction_goals.score import IN_TIME, noticed, recoveries, told
from extraction_goals.wires import wired
from ventwright.settings.model import MINUTE


def test_half_the_flow_is_noticed_by_the_real_keeper_on_emulated_parts(tmp_path: Path) -> None:
    episode = wired(3, "short", 0.5, tmp_path / "out")
    after = noticed(episode)
    assert after is not None
    assert after <= IN_TIME
    (low,) = episode.of("clearance", "low")
    assert 0.3 < low.body["share"] < 0.7
    found = told(episode)
    assert found is not None
    assert max(abs(found.begin), abs(found.end)) <= 3 * MINUTE
    assert all(one.good for one in recoveries(episode, all_of_them=True))
