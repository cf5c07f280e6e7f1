"""Listing what is there, on a made-up /dev."""

from pathlib import Path

import pytest

from ventwright.finding.places import i2c_buses, serial_ports


@pytest.fixture
def dev(tmp_path: Path) -> Path:
    for name in ("ttyUSB0", "ttyUSB1", "ttyUSB2", "ttyACM0", "ttyAMA0", "ttyAMA1", "ttyS0", "null"):
        (tmp_path / name).touch()
    (tmp_path / "serial/by-path").mkdir(parents=True)
    (tmp_path / "serial/by-id").mkdir()
    (tmp_path / "serial/by-path/usb-0:1.2").symlink_to("../../ttyUSB0")
    (tmp_path / "serial/by-id/usb-adapter").symlink_to("../../ttyUSB0")
    (tmp_path / "serial/by-id/usb-other").symlink_to("../../ttyUSB1")
    return tmp_path


def test_each_port_once_by_its_most_stable_name(dev: Path) -> None:
    names = [str(Path(port).relative_to(dev)) for port in serial_ports(dev)]
    assert names == [
        "serial/by-path/usb-0:1.2",
        "serial/by-id/usb-other",
        "ttyUSB2",
        "ttyACM0",
        "ttyAMA0",
        "ttyAMA1",
    ]


def test_the_port_of_the_pin_header_is_named_and_that_of_the_radio_left_out(dev: Path) -> None:
    (dev / "serial0").symlink_to("ttyS0")
    (dev / "serial1").symlink_to("ttyAMA0")
    ports = serial_ports(dev)
    assert str(dev / "serial0") in ports
    assert not [port for port in ports if port.endswith(("ttyAMA0", "serial1", "ttyS0"))]


def test_buses_come_by_number(tmp_path: Path) -> None:
    for name in ("i2c-10", "i2c-1", "i2c-20", "i2c-x", "i2c"):
        (tmp_path / name).touch()
    assert i2c_buses(tmp_path) == [1, 10, 20]


def test_an_empty_machine_has_nothing(tmp_path: Path) -> None:
    assert serial_ports(tmp_path) == []
    assert i2c_buses(tmp_path / "missing") == []
