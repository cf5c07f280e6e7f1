"""Each request to the database fails, once and for ever, in every way a server or a wire can.

Afterwards the server holds exactly what is stored, and every sample is accounted for, once.
"""

from pathlib import Path

import pytest

from daemon.exporting.test_pusher import HOUR, check_accounts, courier, stored
from failing import Failing, every_call
from receivers import Reply, endpoint
from stored import points_in, points_of

WAYS = {
    "503": Reply(503),
    "429": Reply(429, {"Retry-After": "7"}),
    "500": Reply(500),
    "401": Reply(401),
    "cut before": Reply(cut=True),
    "cut after": Reply(applied=True, cut=True),
    "400": Reply(400, body='{"message": "try it in halves"}'),
}


class Struck(Exception):
    """Stands for a request that fails."""


def life(folder: Path, seam: Failing, reply: Reply) -> None:
    stored(folder, 60)
    with endpoint() as server:

        def judge(_body: bytes) -> Reply | None:
            try:
                seam.strike()
            except Struck:
                return reply
            return None

        server.judge = judge
        made = courier(folder, server.url, batch=20)
        made.drain(HOUR)
        seam.stop_counting()
        seam.heal()
        assert made.drain(HOUR)
        made.close()
        assert points_in(server.lines()) == points_of(folder)
    found = check_accounts(folder)
    assert found["waiting"] == found["refused"] == found["dropped"] == 0


EACH = [(way, for_ever) for way in WAYS for for_ever in (False, True)]
EACH.remove(("400", True))  # a database that finds fault with all: test_pusher


@pytest.mark.parametrize(("way", "for_ever"), EACH)
def test_each_request(tmp_path: Path, way: str, for_ever: bool) -> None:
    def live(at: int) -> Failing:
        seam = Failing(at, for_ever, Struck)
        life(tmp_path / str(at), seam, WAYS[way])
        return seam

    assert every_call(live) >= 5
