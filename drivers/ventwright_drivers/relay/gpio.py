"""A relay on a GPIO line, through the kernel's character device and gpiod 2.x.

The contact is only certain while the program holds the line. When it is released, or the
program dies, the line may keep its level or fall back to its pull, as the kernel pleases: fit a
resistor that pulls to the off side, and rely on a command that runs after the program's death.
Source: protocols.md section 23, reliability.md section 11.
"""

import contextlib
import errno
from dataclasses import dataclass
from typing import Annotated, Any

from annotated_types import Ge

from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.part import GpioRequest, Relay

CONSUMER = "ventwright"
"""The name under which the kernel lists our lines."""


def _user(path: str, lines: list[int]) -> str:
    """Name who holds the first line that somebody holds."""
    import gpiod

    with gpiod.Chip(path) as chip:
        infos = [chip.get_line_info(line) for line in lines]
    return next((info.consumer for info in infos if info.used and info.consumer), "someone else")


def request_lines(path: str, *, consumer: str, config: dict[Any, Any]) -> GpioRequest:
    """Request lines by gpiod; raises OSError, whose text for EBUSY says who has the line."""
    import gpiod

    try:
        return gpiod.request_lines(path, consumer=consumer, config=config)
    except ValueError as error:
        raise OSError(errno.EINVAL, str(error)) from error
    except OSError as error:
        if error.errno != errno.EBUSY:
            raise
        raise OSError(errno.EBUSY, f"in use by {_user(path, list(config))}") from error


@dataclass(frozen=True, kw_only=True)
class GpioOptions:
    """Which line switches the relay."""

    chip: str = "/dev/gpiochip0"
    """Path of the chip."""

    line: Annotated[int, Ge(0)]
    """Offset of the line on its chip."""

    active_low: bool = True
    """True where a low level closes the contact, as on most relay boards."""


class GpioRelay(Relay):
    """One contact on one line."""

    model = "relay-gpio"
    Options = GpioOptions
    _request: GpioRequest | None = None

    def _lost(self, what: object) -> DeviceLost:
        return DeviceLost(f"line {self.options.line} of {self.options.chip}: {what}")

    @property
    def _held(self) -> GpioRequest:
        if self._request is None:
            raise self._lost("not open")
        return self._request

    def start(self) -> None:
        """Take the line, off; started already, do nothing. Raises DeviceLost.

        Direction and level are set in one request, so a contact that is open never closes. A
        contact that an earlier program left closed opens: off is the state that we start from.
        """
        if self._request is None:
            config = {self.options.line: self._settings()}
            try:
                self._request = self.wiring.request_lines(
                    self.options.chip, consumer=CONSUMER, config=config
                )
            except OSError as error:
                raise self._lost(error.strerror or error) from error

    def _settings(self) -> Any:
        from gpiod import LineSettings
        from gpiod.line import Direction, Value

        return LineSettings(
            direction=Direction.OUTPUT,
            output_value=Value.INACTIVE,
            active_low=self.options.active_low,
        )

    def switch(self, on: bool) -> None:
        """Close (True) or open the contact; raises DeviceLost."""
        from gpiod.line import Value

        request = self._held
        try:
            request.set_value(self.options.line, Value.ACTIVE if on else Value.INACTIVE)
        except OSError as error:
            raise self._lost(error.strerror or error) from error

    def state(self) -> bool:
        """Read the line back: True where its level closes the contact; raises DeviceLost."""
        request = self._held
        try:
            return bool(request.get_value(self.options.line))
        except OSError as error:
            raise self._lost(error.strerror or error) from error

    def close(self) -> None:
        """Give the line back; what the contact does then is the kernel's and the pull's affair."""
        request, self._request = self._request, None
        if request is not None:
            with contextlib.suppress(OSError):
                request.release()
