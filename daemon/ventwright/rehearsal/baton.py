"""A clock on which time passes only when every thread waits, so that a run can be repeated.

One thread at a time holds the baton and runs. A thread that must wait hands the baton to the
first waiter that is ready (earliest time, then order of spawning). When none is ready, it asks
the world to go on: the world does what is due and answers with the time to which it went.

The thread that makes the clock holds the baton first, and passes it on when it first waits here
or joins a thread that was spawned here. Other threads are foreign: they may put into an inbox,
which is noticed at the next hand-over, and if they wait, they wait in real time.
"""

import contextlib
import select
import threading
import time
from collections import deque
from collections.abc import Callable, Sized

from ventwright_drivers.clock import Inbox

Idle = Callable[[int | None], int | None]
"""Takes the next deadline (ms, or None), gives the new time (ms), or None to stop everything."""

_FOREIGN_GLANCE_S = 0.002
_READABLE = select.POLLIN | select.POLLPRI


class _Waiter:
    """A thread that takes part, and what it waits for."""

    def __init__(self, order: int) -> None:
        self.order = order
        self.go = threading.Lock()
        self.go.acquire()
        self.until: int | None = None
        self.box: Sized | None = None
        self.fd: int | None = None

    def wait_for(self, until: int | None, box: Sized | None, fd: int | None) -> None:
        self.until, self.box, self.fd = until, box, fd

    def let_go(self) -> None:
        """Let the thread run; harmless where it does already."""
        with contextlib.suppress(RuntimeError):
            self.go.release()

    def ready_at(self, now: int, readable: dict[int, int]) -> int | None:
        """Tell since when this thread could run, ms; None if it cannot."""
        if self.until is not None and self.until <= now:
            return self.until
        return now if self.box or self.fd in readable else None


class _Thread(threading.Thread):
    """A thread that passes the baton on when it ends, and whose joining is a wait."""

    def __init__(self, clock: "LockstepClock", name: str, run: Callable[[], None]) -> None:
        super().__init__(name=name, daemon=True)
        self._clock = clock
        self._work = run
        self._waiter = clock._enter()
        self._end: deque[None] = deque()

    def run(self) -> None:
        self._clock._begin(self._waiter)
        try:
            self._work()
        finally:
            self._end.append(None)
            self._clock._leave(self._waiter)

    def join(self, timeout: float | None = None) -> None:
        until = None if timeout is None else self._clock.now() + round(timeout * 1000)
        if self._clock._wait(until, box=self._end) and not self._end and not self._clock.stopped:
            return
        super().join(timeout)


class _Box:
    """A queue with one reader on a LockstepClock."""

    def __init__(self, clock: "LockstepClock") -> None:
        self._clock = clock
        self._items: deque[object] = deque()

    def put(self, item: object) -> None:
        self._items.append(item)

    def get(self, until: int | None) -> object | None:
        if not self._items and not self._clock._wait(until, box=self._items):
            self._wait_as_foreigner(until)
        return self._items.popleft() if self._items else None

    def _wait_as_foreigner(self, until: int | None) -> None:
        while not self._items and not self._clock.stopped:
            if until is not None and self._clock.now() >= until:
                return
            time.sleep(_FOREIGN_GLANCE_S)


class LockstepClock:
    """Virtual time, shared with a world that is asked to go on."""

    def __init__(self, start: int, idle: Idle) -> None:
        """Begin at `start` ms; the calling thread holds the baton."""
        self._now = start
        self._idle = idle
        self._stopped = False
        self._spawned = 0
        self._waiters: list[_Waiter] = []
        self._poll = select.poll()
        self._own = threading.local()
        self._own.waiter = self._enter()

    def now(self) -> int:
        """Read the virtual time, ms."""
        return self._now

    @property
    def stopped(self) -> bool:
        """True after stop(), or once the world has ended."""
        return self._stopped

    def stop(self) -> None:
        """Let every wait return; threads run side by side from here on. Safe in a signal."""
        self._stopped = True
        for waiter in list(self._waiters):
            waiter.let_go()

    def sleep_until(self, until: int) -> None:
        """Return when the time `until` (ms) has come, or when the clock was stopped."""
        if until > self._now and not self._wait(until):
            while self._now < until and not self._stopped:
                time.sleep(_FOREIGN_GLANCE_S)

    def wait_readable(self, fd: int, until: int) -> bool:
        """Wait for bytes; False if `until` (ms) came first or the clock was stopped."""
        if self._stopped:
            return False
        if self._readable(fd):
            return True
        if self._now >= until:
            return False
        if not self._wait(until, fd=fd):
            raise RuntimeError("a thread that this clock did not spawn cannot wait for bytes")
        return not self._stopped and self._readable(fd)

    @staticmethod
    def _readable(fd: int) -> bool:
        return bool(select.select([fd], [], [], 0)[0])

    def inbox(self) -> Inbox[object]:
        """Make a queue whose reader waits in step."""
        return _Box(self)

    def spawn(self, name: str, run: Callable[[], None]) -> threading.Thread:
        """Start a daemon thread; it first runs when the baton comes to it."""
        thread = _Thread(self, name, run)
        thread.start()
        return thread

    def _enter(self) -> _Waiter:
        waiter = _Waiter(self._spawned)
        waiter.until = self._now
        self._spawned += 1
        self._waiters.append(waiter)
        return waiter

    def _begin(self, waiter: _Waiter) -> None:
        self._own.waiter = waiter
        if not self._stopped:
            waiter.go.acquire()

    def _leave(self, waiter: _Waiter) -> None:
        self._waiters.remove(waiter)
        if not self._stopped and (chosen := self._choose()):
            chosen.let_go()

    def _wait(self, until: int | None, box: Sized | None = None, fd: int | None = None) -> bool:
        """Hand the baton on until one of these has come; False for a foreign thread."""
        me: _Waiter | None = getattr(self._own, "waiter", None)
        if me is None:
            return False
        if self._stopped:
            self._wait_after_stop(box)
            return True
        me.wait_for(until, box, fd)
        if fd is not None:
            self._poll.register(fd, _READABLE)
        try:
            self._pass_on(me)
        finally:
            if fd is not None:
                self._poll.unregister(fd)
        return True

    @staticmethod
    def _wait_after_stop(box: Sized | None) -> None:
        if box is not None and not box:
            time.sleep(_FOREIGN_GLANCE_S)  # whoever asks again and again must not spin

    def _pass_on(self, me: _Waiter) -> None:
        chosen = self._choose()
        if chosen is me or chosen is None:
            return
        chosen.let_go()
        me.go.acquire()

    def _choose(self) -> _Waiter | None:
        """Find who runs next, letting time pass until somebody can; None: stopped or nobody."""
        while self._waiters and not self._stopped:
            if chosen := self._first_ready():
                return chosen
            deadlines = [w.until for w in self._waiters if w.until is not None]
            now = self._idle(min(deadlines, default=None))
            if now is None:
                self.stop()
            else:
                self._now = now
        return None

    def _first_ready(self) -> _Waiter | None:
        now, chosen, best = self._now, None, 0
        readable = dict(self._poll.poll(0))
        for waiter in self._waiters:
            at = waiter.ready_at(now, readable)
            if at is not None and (chosen is None or at < best):
                chosen, best = waiter, at
        return chosen
