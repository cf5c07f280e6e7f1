"""The real process: killed at random, stopped in order, weighed."""

import json
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from receivers import Reply, endpoint, eventually
from stored import fill, points_in, points_of, record, samples_of, writer
from ventwright.courier.accounts import counts

TESTS = Path(__file__).parents[2]

PROGRAM = f"""
import sys
sys.path.insert(0, {str(TESTS)!r})
from pathlib import Path
import stored
from ventwright.courier.main import run_courier
folder, base, owner = sys.argv[1:]
given = {{}}
if base:
    given["database"] = stored.database(base, batch=25, push_every=50)
if owner:
    given["phone"] = stored.phone(Path(folder), owner)
run_courier(stored.settings(Path(folder), **given), {{}})
"""


@contextmanager
def process(folder: Path, base: str = "", owner: str = "") -> Iterator[subprocess.Popen[bytes]]:
    command = [sys.executable, "-c", PROGRAM, str(folder), base, owner]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as made:
        try:
            yield made
        finally:
            made.kill()


@pytest.mark.parametrize("seed", [1, 2])
def test_killed_at_random_during_an_outage_nothing_is_lost_and_all_is_told_once(
    tmp_path: Path, seed: int
) -> None:
    dice = random.Random(seed)
    folder = tmp_path / "store"
    store = writer(folder)
    with endpoint() as base, endpoint() as owner:
        owner.keep = lambda _body: None  # type: ignore[method-assign]
        owner.judge = lambda _body: Reply(503)
        base.judge = lambda _body: dice.choice(
            [*[None] * 14, Reply(503), Reply(applied=True, cut=True)]
        )
        for n in range(4):
            fill(store, 200, start=1_000_000 * n, seed=n)
            record(store, "part", f"part-{n}", 1_000_000 * n, change="lost")
            seen, after = len(base.requests), dice.randrange(1, 10)
            with process(folder, base.url, f"json://127.0.0.1:{owner.port}") as running:
                eventually(lambda: len(base.requests) >= seen + after)  # noqa: B023
                running.send_signal(signal.SIGKILL)
                running.wait()
        owner.settle()
        base.settle()
        tries = len(owner.requests)
        base.judge = owner.judge = lambda _body: None
        with process(folder, base.url, f"json://127.0.0.1:{owner.port}") as running:
            eventually(lambda: len(owner.requests) >= tries + 4)
            eventually(lambda: points_in(base.lines()) == points_of(folder))
            running.send_signal(signal.SIGTERM)
            assert running.wait(50) == 0
        titles = [json.loads(request.body)["title"] for request in owner.requests[tries:]]
    store.close()
    assert sorted(titles) == [f"Workshop: part part-{n} lost" for n in range(4)]
    found = counts(folder)
    parts = ("pushed", "empty", "refused", "dropped")
    assert sum(found[part] for part in parts) == samples_of(folder)
    assert found["waiting"] == found["messages_waiting"] == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_stop_is_orderly_even_while_a_server_is_silent(
    tmp_path: Path, number: signal.Signals
) -> None:
    folder = tmp_path / "store"
    store = writer(folder)
    fill(store, 5)
    record(store, "part", "bench", 1000, change="lost")
    store.close()
    with endpoint() as base, endpoint() as owner:
        for server in (base, owner):
            server.judge = lambda _body: Reply(silent=True)
        with process(folder, base.url, f"json://127.0.0.1:{owner.port}") as running:
            eventually(lambda: base.requests and owner.requests)
            running.send_signal(number)
            assert running.wait(50) == 0
    assert counts(folder)["waiting"] == samples_of(folder)


def modules(tmp_path: Path, base: str, owner: str) -> set[str]:
    listing = PROGRAM.replace(
        "run_courier(", "from ventwright.courier.main import Courier\nprint("
    ) + (
        "\nfrom ventwright_drivers.clock import SystemClock"
        "\nCourier(stored.settings(Path(folder), **given), SystemClock(), {})"
        '\nprint("\\n".join(sys.modules))'
    )
    command = [sys.executable, "-c", listing, str(tmp_path), base, owner]
    found = subprocess.run(command, capture_output=True, check=True, text=True)
    return set(found.stdout.split())


def test_no_library_is_loaded_before_it_is_needed(tmp_path: Path) -> None:
    bare = modules(tmp_path, "", "")
    assert not bare & {"apprise", "influxdb_client", "requests", "urllib3", "apscheduler"}
    assert "apprise" in modules(tmp_path, "", "json://localhost")


def test_pushing_loads_no_numpy_even_where_it_is_installed() -> None:
    program = (
        "import sys\n"
        "from ventwright.exporting.database import DatabaseWriter\n"
        "from ventwright.exporting.errors import Unavailable\n"
        "from ventwright.settings.model import Database\n"
        "try:\n    DatabaseWriter(Database('http://127.0.0.1:9', 'air'), None).write(b'm x=1 1')\n"
        "except Unavailable:\n    print(*sys.modules)\n"
        "import numpy\n"
    )
    command = [sys.executable, "-c", program]
    loaded = subprocess.run(command, capture_output=True, check=True, text=True).stdout.split()
    assert "influxdb_client" in loaded
    assert "numpy" not in loaded
