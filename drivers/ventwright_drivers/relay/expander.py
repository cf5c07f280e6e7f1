"""What relays behind an I2C port expander share: one of eight lines, switched by low or by high."""

from abc import abstractmethod
from typing import Any, ClassVar

from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.i2c.link import I2CLink
from ventwright_drivers.part import Relay


class ExpanderRelay(Relay):
    """One relay of a board; its options are bus, address, channel (1 to 8) and active_low."""

    Options: ClassVar[type[Any]]
    _link: I2CLink | None = None

    @property
    def link(self) -> I2CLink:
        """The joined bus; raises DeviceLost before start and after close."""
        if self._link is None:
            raise DeviceLost(f"/dev/i2c-{self.options.bus} is not open")
        return self._link

    @property
    def mask(self) -> int:
        """The bit of this relay in a byte of the chip."""
        place: int = self.options.channel - 1
        return 1 << place

    def start(self) -> None:
        """Join the bus and see that the chip answers, changing nothing; started already, do
        nothing. Raises DeviceLost, NoAnswer.
        """
        if self._link is not None:
            return
        self._link = I2CLink(self.wiring, self.options.bus, self.options.address)
        try:
            self.state()
        except BaseException:
            self.close()
            raise

    def put(self, byte: int, on: bool) -> int:
        """Set this relay's bit in a byte so that the contact is closed (`on`) or opened."""
        return byte & ~self.mask if on == self.options.active_low else byte | self.mask

    def shows(self, byte: int) -> bool:
        """Tell whether this relay's bit in a byte is the one that closes the contact."""
        return bool(byte & self.mask) is not bool(self.options.active_low)

    @abstractmethod
    def state(self) -> bool:
        """Read the contact back; raises DeviceLost, NoAnswer."""

    def close(self) -> None:
        """Leave the bus; the chip and the contact stay as they are."""
        link, self._link = self._link, None
        if link is not None:
            link.close()
