"""Switches I2C on where the board has a switch for it, and explains the serial pins."""

from installer.machine import Machine

_BOARD = "/proc/device-tree/model"
_BY_HAND = (
    "I2C is off: write the line dtparam=i2c_arm=on into /boot/firmware/config.txt and start the "
    "board again, if a part is to hang there."
)
_SERIAL = (
    "The serial pins of the header are off or used by the console. If a part is to hang there: "
    "sudo raspi-config nonint do_serial_cons 1; sudo raspi-config nonint do_serial_hw 0; then "
    "start the board again. Serial parts on USB need nothing."
)


def see_to(machine: Machine) -> None:
    """Switch I2C on, or say how; say how the serial pins are had."""
    if not _is_pi(machine):
        return
    if machine.has("raspi-config"):
        _by_its_own_tool(machine)
    elif not machine.at("/dev/i2c-1").exists():
        machine.say(_BY_HAND)


def _is_pi(machine: Machine) -> bool:
    try:
        return "Raspberry Pi" in machine.at(_BOARD).read_text()
    except OSError:
        return False


def _by_its_own_tool(machine: Machine) -> None:
    tool = ("raspi-config", "nonint")
    if machine.run(*tool, "get_i2c").stdout.strip() != "0":
        done = machine.run(*tool, "do_i2c", "0").returncode == 0
        machine.say("I2C is switched on now." if done else _BY_HAND)
    if not machine.at("/dev/serial0").exists():
        machine.say(_SERIAL)
