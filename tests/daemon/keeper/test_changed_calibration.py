"""A calibration that is changed moves what was stored with it: it is no rise of the air."""

from dataclasses import replace
from pathlib import Path

import pytest

import rooms
from daemon.replaying.lives import Life
from rooms import measured
from ventwright.settings.model import Calibration, Settings


def house(offset: float) -> Settings:
    plain = rooms.room(alarms={"rise": rooms.alarm(compare="rise", over=60_000)})
    put_right = {"pm2_5": Calibration(offset, 1.5)} if offset else {}
    bench = replace(plain.parts["bench"], calibration=put_right)
    return replace(plain, parts={"bench": bench})


def breathe(life: Life, first: int, seconds: int) -> None:
    for second in range(first, first + seconds):
        life.event(measured(second * 1000, 8 + second % 3 / 10))


@pytest.mark.parametrize("boot", ["one", "two"])
@pytest.mark.parametrize("orderly", [True, False])
def test_what_was_stored_goes_back_as_the_new_calibration_would_have_given_it(
    tmp_path: Path, orderly: bool, boot: str
) -> None:
    before = Life(tmp_path, house(0), 0)
    breathe(before, 1, 2000)
    assert before.core.channels["bench.pm2_5"].base == pytest.approx(8.1, abs=0.1)
    before.stop() if orderly else before.kill()
    life = Life(tmp_path, house(20), 2_001_000 if boot == "one" else 0, boot)
    changed, same = (life.core.channels[f"bench.{q}"] for q in ("pm2_5", "pm10"))
    assert changed.base == pytest.approx(1.5 * 8.1 + 20, abs=0.2)
    assert same.base == pytest.approx(8.1, abs=0.1)
    breathe(life, 2002, 300)
    assert life.core.alarms["rise"].value == pytest.approx(0, abs=0.3)
    assert not life.core.alarms["rise"].condition.active
    life.stop()
    again = Life(tmp_path, house(20), 2_400_000, boot)
    assert again.core.channels["bench.pm2_5"].base == pytest.approx(1.5 * 8.1 + 20, abs=0.2)
    again.kill()
