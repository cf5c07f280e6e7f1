"""A stand-in for the microcontroller that published I2C libraries expect to run on.

`library` imports one of them with its bus and its time replaced; one that is not installed makes
the test fail, for a check that does not run checks nothing.
"""

import importlib
import math
import sys
from types import ModuleType, SimpleNamespace

from smbus2 import i2c_msg


class Device:
    """What the libraries use of a microcontroller's bus device."""

    def __init__(self, bus, address, **_):
        self.bus, self.address = bus, address

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def write(self, buffer, *, start=0, end=sys.maxsize):
        self.bus.write(self.address, bytes(buffer)[start:end])

    def readinto(self, buffer, *, start=0, end=sys.maxsize):
        size = len(bytes(buffer)[start:end])
        buffer[start : start + size] = self.bus.read(self.address, size)

    def write_then_readinto(
        self, out, buffer, *, out_start=0, out_end=sys.maxsize, in_start=0, in_end=sys.maxsize
    ):
        self.write(out, start=out_start, end=out_end)
        self.readinto(buffer, start=in_start, end=in_end)


class Direction:
    INPUT, OUTPUT = "in", "out"


class Pull:
    UP, DOWN = "up", "down"


class Smbus:
    """What libraries for larger computers use of SMBus."""

    def __init__(self, bus):
        self.bus = bus

    def write_i2c_block_data(self, address, register, data):
        self.bus.i2c_rdwr(i2c_msg.write(address, [register, *data]))

    def write_byte_data(self, address, register, value):
        self.write_i2c_block_data(address, register, [value])

    def read_i2c_block_data(self, address, register, size):
        read = i2c_msg.read(address, size)
        self.bus.i2c_rdwr(i2c_msg.write(address, [register]), read)
        return list(read)

    def read_byte_data(self, address, register):
        return self.read_i2c_block_data(address, register, 1)[0]


def _stub(name, **contents):
    module = ModuleType(name)
    vars(module).update(contents)
    return module


def _stubs():
    i2c = _stub("adafruit_bus_device.i2c_device", I2CDevice=Device)
    spi = _stub("adafruit_bus_device.spi_device")
    return (
        _stub("micropython", const=lambda value: value),
        _stub("busio", I2C=object, SPI=object),
        _stub("circuitpython_typing", ReadableBuffer=bytes),
        _stub("circuitpython_typing.device_drivers", I2CDeviceDriver=object),
        _stub("adafruit_bus_device", i2c_device=i2c, spi_device=spi),
        _stub("digitalio", DigitalInOut=object, Direction=Direction, Pull=Pull),
        i2c,
        spi,
    )


def sleeper(clock):
    """Sleep for seconds, on a fake clock."""
    return lambda seconds: clock.sleep_until(clock.now() + math.ceil(seconds * 1000 - 1e-9))


def library(name, clock, monkeypatch):
    """Import a library that thinks it is on a microcontroller, with its time on `clock`."""
    for module in _stubs():
        monkeypatch.setitem(sys.modules, module.__name__, module)
    loaded = importlib.import_module(name)
    sleep = sleeper(clock)
    time = SimpleNamespace(sleep=sleep, monotonic=lambda: clock.now() / 1000)
    monkeypatch.setattr(loaded, "time", time, raising=False)
    monkeypatch.setattr(loaded, "sleep", sleep, raising=False)
    return loaded
