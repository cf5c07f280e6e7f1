"""The reference load: three parts, eight channels, ten alarms, 24-hour windows, 1/s each."""

import os
import random
import struct
import tty
from pathlib import Path

from ventwright.settings.model import (
    DAY,
    MINUTE,
    Alarm,
    Extractor,
    PartEntry,
    RelayEntry,
    Room,
    Settings,
    Storage,
)
from ventwright_drivers.relay.modbus import ModbusRelay
from ventwright_drivers.serial.pms import Pms5003

PM = ("pm1", "pm2_5", "pm10")
PARTS = {"bench": PM, "door": PM, "shelf": PM[1:]}
CHANNELS = [f"{part}.{quantity}" for part, kept in PARTS.items() for quantity in kept]
READINGS_A_SECOND = len(CHANNELS)


def frame(values: tuple[int, int, int]) -> bytes:
    """A 32-byte particle frame with these masses, µg/m³."""
    counts = (values[1] * 90, values[1] * 30, values[1] * 8, values[1], 1, 0)
    body = b"BM" + struct.pack(">13H", 28, *values, *values, *counts) + b"\x97\x00"
    return body + struct.pack(">H", sum(body))


def walk(seed: int) -> "random.Random":
    """A source of repeatable noise."""
    return random.Random(seed)


def air(noise: random.Random) -> tuple[int, int, int]:
    """A plausible quiet reading, µg/m³."""
    base = noise.randint(4, 9)
    return base, base + noise.randint(0, 2), base + noise.randint(2, 4)


class Wire:
    """A pseudo-terminal whose far end is fed by hand."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def close(self) -> None:
        os.close(self.master)
        os.close(self.slave)


def alarms() -> dict[str, Alarm]:
    """Ten alarms over the eight channels: eight with 24-hour windows, two as the shipped one.

    The shipped one looks ahead, with a setpoint that grows with the baseline. None is ever raised,
    and all of them are worked out from the first minute on.
    """
    names = [CHANNELS[i % len(CHANNELS)] for i in range(10)]
    return {
        f"alarm-{i}": Alarm(name, 900, 10, "rise" if i % 2 else "mean", DAY, coverage=0.0001)
        if i < 8
        else Alarm(name, 900, 10, "rise", 20_000, 10_000, share=1.2, ahead=6 * MINUTE)
        for i, name in enumerate(names)
    }


def settings(folder: Path, ports: dict[str, str], relay: str | None = None) -> Settings:
    """The reference load as a configuration."""
    parts = {
        name: PartEntry(
            "pms5003", "ventwright_drivers.serial.pms:Pms5003", Pms5003.Options(ports[name]), kept
        )
        for name, kept in PARTS.items()
    }
    relays, extractors = {}, {}
    if relay is not None:
        relays["board"] = RelayEntry(
            "relay-modbus",
            "ventwright_drivers.relay.modbus:ModbusRelay",
            ModbusRelay.Options(relay),
            "off",
            10_000,
        )
        extractors["fan"] = Extractor("board", "on")
    return Settings(Room("Bench", 45), Storage(folder), parts, relays, extractors, alarms())


def toml(folder: Path, ports: dict[str, str], more: str = "") -> str:
    """The reference load as a configuration file."""
    text = f'[room]\nname = "Bench"\nvolume = 45\n[store]\nfolder = "{folder}"\n'
    text += "[clock]\nhas_battery = true\n"
    for name, kept in PARTS.items():
        text += f'[parts.{name}]\nmodel = "pms5003"\nport = "{ports[name]}"\n'
        text += f"quantities = {list(kept)}\n".replace("'", '"')
    for name, alarm in alarms().items():
        text += f'[alarms.{name}]\nchannel = "{alarm.channel}"\ncompare = "{alarm.compare}"\n'
        text += f'over = "{alarm.over // 1000} s"\nsetpoint = 900\ndeadband = 10\n'
        text += f"coverage = {alarm.coverage}\nshare = {alarm.share}\n"
        text += f'ahead = "{alarm.ahead // 1000} s"\n'
    return text + more
