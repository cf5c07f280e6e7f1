"""Runs a rehearsal: the world in this thread, keeper and courier as processes, the phone beside.

While the courier delivers a message, simulated time stands still: at this pace its second
would be minutes. Decisions do not depend on it.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from ventwright.courier.accounts import counts
from ventwright.rehearsal.configuration import DatabaseTarget, Places, prepare
from ventwright.rehearsal.hosting import Pace, Stage, host
from ventwright.rehearsal.narrator import Narrator, Say
from ventwright.rehearsal.news import News
from ventwright.rehearsal.phone import Phone
from ventwright.rehearsal.playbill import VISITS
from ventwright.rehearsal.scenario import Scenario
from ventwright.rehearsal.summary import Run, Summary, summarise
from ventwright.rehearsal.visitor import Visitor
from ventwright.rehearsal.wire import listen
from ventwright.rehearsal.world import START_MS, Moment, World

_COURIER = "ventwright.rehearsal.sending"
_CONNECT_S = 60.0
_GOODBYE_S = 30.0
_DELIVERY_S = 60.0  # a courier that has just begun takes its time on a slow machine
_GLANCE_S = 0.2
_SAME_S = 1.0
"""Signals so close are one: `timeout` sends its own twice, to the process and to its group."""

_LONGEST_SOCKET = 107  # bytes of a path, by sockaddr_un


class RehearsalError(RuntimeError):
    """A rehearsal that cannot be held, in one sentence."""


@dataclass(frozen=True)
class Plan:
    """What is to be rehearsed, and where it is kept."""

    scenario: Scenario
    seed: int
    pace: float | None
    """Simulated seconds a real second; None: as fast as it goes."""
    out: Path
    database: DatabaseTarget | None = None
    visit: Callable[[Visitor], None] | None = None
    """What somebody does meanwhile, if not what belongs to the scenario."""


def _check(out: Path) -> Places:
    """Look whether everything can be kept in `out`; raises RehearsalError."""
    places = Places(out.absolute())
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise RehearsalError(f"{out} is there already; name a folder that is new or empty")
    socket = os.fsencode(places.store / "keeper.socket")
    if len(socket) > _LONGEST_SOCKET:
        most = _LONGEST_SOCKET - len(socket) + len(os.fsencode(places.out))
        raise RehearsalError(f"{out} is too long a path; at most {most} bytes are possible here")
    return places


def _environment() -> dict[str, str]:
    """Give the environment without what would change the configuration."""
    return {k: v for k, v in os.environ.items() if not k.upper().startswith("VENTWRIGHT_")}


class _Child:
    """One of the daemon's processes; what it says goes to a log."""

    def __init__(self, name: str, log: Path, *words: str) -> None:
        self.name = name
        self._log = log
        with log.open("wb") as out:
            self._process = subprocess.Popen(  # noqa: S603 - our own modules
                [sys.executable, "-P", "-m", *words],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                env=_environment(),
                start_new_session=True,
            )

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def why(self) -> str:
        """Give the last that it said."""
        lines = self._log.read_text(encoding="utf-8", errors="replace").split("\n")
        said = next((line.strip() for line in reversed(lines) if line.strip()), "it said nothing")
        return f"the {self.name} ended with status {self._process.returncode}: {said}"

    def wait(self) -> int:
        """Wait for its end, which is forced after a while."""
        try:
            return self._process.wait(_GOODBYE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            return self._process.wait()

    def kill(self) -> None:
        """End it at once, and wait."""
        self._process.kill()
        self._process.wait()

    def stop(self) -> None:
        """Tell it to end, and wait."""
        if self.alive:
            self._process.terminate()
        self.wait()


@contextmanager
def _obeying(stop: Callable[[], None]) -> Iterator[None]:
    """Let the first Ctrl-C or SIGTERM call `stop`, a second one do what it always does."""

    def handle(number: int, frame: Any) -> None:
        again = first.setdefault(number, time.monotonic()) + _SAME_S < time.monotonic()
        if again and callable(before[number]):
            before[number](number, frame)
        elif again:
            signal.signal(number, before[number])
            signal.raise_signal(number)
        stop()

    first: dict[int, float] = {}
    before: dict[int, Any] = {}
    for obeyed in (signal.SIGINT, signal.SIGTERM):
        before[obeyed] = signal.signal(obeyed, handle)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class Rehearsal:
    """One rehearsal."""

    def __init__(self, plan: Plan, say: Say) -> None:
        """Prepare to hold `plan`, telling it by `say`; raises RehearsalError."""
        self.plan = plan
        self._say = say
        self.places = _check(plan.out)
        self._began = time.monotonic()
        self._given_up = 0
        self._excused = False
        self._stopping = False
        self._made = not plan.out.exists()
        self._stage: Stage | None = None

    def hold(self) -> Summary:
        """Hold it and return the summary, also if it was stopped; raises RehearsalError."""
        try:
            with _obeying(self._stop):
                return self._whole()
        except BrokenPipeError:
            raise  # whoever listened has gone, as with `| head`
        except OSError as error:
            raise RehearsalError(
                f"the rehearsal cannot be held in {self.plan.out}: {error.strerror or error}; "
                "give --out a new folder, on a disk with room, where you may write"
            ) from error

    def _whole(self) -> Summary:
        with ExitStack() as stack:
            found = self._hold(stack)
        if self._stopping and not found["readings"]:
            raise RehearsalError(f"Stopped early: nothing was measured{self._left()}")
        return found

    def _left(self) -> str:
        """Clear away what a rehearsal without a reading has left, and say so."""
        if not self._made:
            return f"; what little there is lies in {self.plan.out}"
        shutil.rmtree(self.places.out, ignore_errors=True)
        return f", and {self.plan.out} is removed again"

    def _hold(self, stack: ExitStack) -> Summary:
        plan, places = self.plan, self.places
        phone = Phone()
        stack.callback(phone.close)
        prepare(plan.scenario, places, phone.address, plan.database)
        news = News(places.store, plan.scenario.watched)
        stack.callback(news.close)
        self.narrator = Narrator(plan.scenario, news, phone, self._say)
        self.narrator.open(plan.seed, plan.pace, str(places.out))
        self._play(stack, phone)
        self.narrator.read_store()
        self.narrator.read_phone()
        run = Run(
            plan.scenario,
            plan.seed,
            plan.pace,
            time.monotonic() - self._began,
            counts(places.store),
        )
        found = summarise(run, self.narrator, news, phone)
        if self._visitor is not None:
            found["trials"] = self._visitor.told
            found["whole"] = self._visitor.done and not self._stopping
        text = json.dumps(found, ensure_ascii=False, indent=2)
        places.summary.write_text(text + "\n", encoding="utf-8")
        return found

    def _play(self, stack: ExitStack, phone: Phone) -> None:
        """Play the scenario with both processes, to its end or until stopped."""
        plan, places = self.plan, self.places
        self._phone = phone
        self.world = World(plan.scenario, plan.seed, places.ports, self._watch)
        stack.callback(self.world.close)
        self._visitor = self._invite(stack)
        socket = Path(tempfile.mkdtemp(prefix="ventwright-"))
        stack.callback(shutil.rmtree, socket, ignore_errors=True)
        listener = stack.enter_context(listen(socket / "world"))
        self._courier = self._start_courier()
        stack.callback(self._courier.stop)
        self._keeper = self._start_keeper(socket / "world")
        stack.callback(self._keeper.stop)
        offset = time.time_ns() // 1_000_000 - START_MS - plan.scenario.duration * 1000
        self._stage = Stage(self.world, f"rehearsal-{plan.seed}", offset, Pace(plan.pace))
        self._host(listener, self._stage)
        self._courier.stop()

    def _invite(self, stack: ExitStack) -> Visitor | None:
        """Have somebody use the daemon meanwhile, where the scenario has that."""
        visit = self.plan.visit or VISITS.get(self.plan.scenario.name)
        if visit is None:
            return None
        socket = self.places.store / "keeper.socket"
        found = Visitor(visit, socket, self.world.extra.extend, self.narrator.heard)
        stack.callback(found.leave)
        return found

    def _visited(self, second: int) -> None:
        """Give the visitor their turn; the rehearsal is over when the visit is."""
        visitor = self._visitor
        if visitor is None:
            return
        visitor.at(second)
        if visitor.failed is not None:
            raise RehearsalError(f"the visit failed: {visitor.failed}") from visitor.failed
        if visitor.done:
            self.world.ends = self.world.seconds

    def _start_keeper(self, socket: Path) -> _Child:
        words = ("--config", str(self.places.configuration), "--rehearsal", str(socket))
        return _Child("keeper", self.places.out / "keeper.log", "ventwright.keeper", *words)

    def _start_courier(self) -> _Child:
        log, config = self.places.out / "courier.log", str(self.places.configuration)
        return _Child("courier", log, _COURIER, config)

    def _stop(self) -> None:
        self._stopping = True
        if self._stage is not None:
            self._stage.stopping = True

    def _host(self, listener: Any, stage: Stage) -> None:
        stage.stopping = stage.stopping or self._stopping
        until = time.monotonic() + _CONNECT_S

        def alive() -> bool:
            early = self.world.seconds > 0 or time.monotonic() < until
            return self._keeper.alive and early and not stage.stopping

        host(listener, stage, alive)
        if stage.stopping and not stage.ended:
            self._keeper.kill()  # it has not begun, and would wait for an answer
            self._courier.kill()
        elif stage.ended:
            self._keeper.wait()
        else:
            self._fail()

    def _fail(self) -> NoReturn:
        if not self._keeper.alive:
            raise RehearsalError(self._keeper.why())
        raise RehearsalError(f"the keeper has not begun within {_CONNECT_S:g} s")

    def _watch(self, moment: Moment) -> None:
        narrator = self.narrator
        narrator.watch(moment)
        self._visited(moment.second)
        if narrator.owed > len(self._phone.messages) + self._given_up:
            self._await_delivery(narrator.owed)

    def _await_delivery(self, number: int) -> None:
        """Let time stand still until the phone has got its messages, if the courier lives."""
        until = time.monotonic() + _DELIVERY_S
        while self._courier.alive and not self._stopping and time.monotonic() < until:
            if self._phone.wait(number, _GLANCE_S):
                break
        self.narrator.read_phone()
        self._given_up = number - len(self._phone.messages)
        if not self._courier.alive and not self._excused:
            self._excused = True
            self.narrator.hint(self._courier.why())
