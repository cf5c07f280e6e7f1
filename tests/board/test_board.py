"""A whole board: Debian under systemd in QEMU, installed as a newcomer would, then mistreated.

`pytest -m board`; needs root, mmdebstrap, qemu-system-x86 and the package registries; takes some
minutes: see DEVELOPERS.md. Each test leaves the board running and well for the next. The release
is built at this machine's speed inside the disk; `python -m qemu.newcomer` has the board do it.
"""

from collections.abc import Iterator

import pytest

from qemu.short import come_back
from qemu.workshop import CONFIG, DIRTY, DUST, RELAY, Workshop, build, within

pytestmark = pytest.mark.board

PATIENCE_S = 120.0
WATCHDOG_S = 20.0
SLOWNESS_S = 30.0
"""What the safe command may take here: starting Python and checking the configuration, emulated."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    folder = tmp_path_factory.mktemp("board")
    build(folder, prebuilt=True)
    made = Workshop(folder)
    try:
        made.boot(plugged=(DUST,))
        made.furnish()
        said = made.install()
        assert said.status == 0, said.text
        yield made
    finally:
        made.close()


def flowing(shop: Workshop, more: int = 2) -> float:
    assert shop.witness is not None
    return shop.witness.caught_up(shop.witness.seen() | shop.known, more, PATIENCE_S)


def test_installed_it_runs_confined_and_readings_flow(shop: Workshop) -> None:
    active = shop.type("systemctl is-active ventwright-keeper ventwright-courier").text
    assert active.split() == ["active", "active"]
    assert 'model = "pms5003"' in shop.type("cat /etc/ventwright/ventwright.toml").text
    assert flowing(shop) < PATIENCE_S
    journal = shop.type("journalctl -b -o cat | grep -E 'sig=31|status=31' || true").text
    assert journal == ""
    by_maker = shop.type("su maker -c 'ventwright status'")
    assert by_maker.status == 0, by_maker.text
    rights = shop.type("stat -c '%a %U %G' /etc/ventwright/ventwright.toml /var/lib/ventwright")
    assert rights.text.split("\n")[:2] == ["640 root ventwright", "1770 ventwright ventwright"]


def test_a_relay_plugged_in_later_is_switched(shop: Workshop) -> None:
    shop.level = DIRTY
    assert shop.configure().status == 0
    shop.board.plug(RELAY)  # the first time since the keeper was started
    within(PATIENCE_S, lambda: shop.extracting, "a late relay switched on")


def test_the_keeper_may_open_an_i2c_bus_that_comes_later(shop: Workshop) -> None:
    find = "modprobe i2c-stub chip_addr=0x20 && grep -l SMBus.stub /sys/class/i2c-adapter/*/name"
    bus = shop.type(f"{find} | sed 's,.*i2c-,,; s,/.*,,'").text.strip()
    assert shop.type(f"udevadm settle; stat -c '%a %G' /dev/i2c-{bus}").text == "660 i2c\n"
    shop.configure(CONFIG + f'[parts.climate]\nmodel = "sht40"\nbus = {bus}\n')
    # The stub knows single SMBus commands only, and says so to one who may open it.
    refused = "until ventwright status | grep 'climate.*not supported'; do sleep 1; done"
    told = shop.type(f'timeout {PATIENCE_S:.0f} bash -c "{refused}" || ventwright status')
    assert "not supported" in told.text, told.text
    shop.configure()


def test_a_sensor_pulled_out_is_taken_back_without_a_restart(shop: Workshop) -> None:
    starts = shop.type("systemctl show -P NRestarts ventwright-keeper").text
    shop.board.unplug(DUST)
    lost = "until ventwright status | grep -q 'bench.*lost\\|bench.*gone\\|bench.*not there'; "
    assert shop.type(f'timeout 100 bash -c "{lost} do sleep 1; done"').status == 0
    shop.board.plug(DUST)
    assert flowing(shop) < PATIENCE_S
    assert shop.type("systemctl show -P NRestarts ventwright-keeper").text == starts


@pytest.mark.parametrize("time", [1, 2, 3])
def test_a_hung_keeper_is_killed_and_the_relay_is_safe(shop: Workshop, time: int) -> None:
    shop.level = DIRTY
    within(PATIENCE_S, lambda: shop.extracting, "extraction on")
    shop.type("systemctl kill -s STOP ventwright-keeper")
    safe = within(WATCHDOG_S + SLOWNESS_S, lambda: not shop.extracting, "the safe state")
    again = within(PATIENCE_S, lambda: shop.extracting, "extraction on again")
    print(f"hung, {time}: safe state after {safe:.1f} s, extraction again {again:.1f} s later")
    assert flowing(shop) < PATIENCE_S


def test_a_spoilt_configuration_keeps_no_relay_from_being_safe(shop: Workshop) -> None:
    shop.level = DIRTY
    within(PATIENCE_S, lambda: shop.extracting, "extraction on")
    shop.write("/etc/ventwright/ventwright.toml", "[relays")
    shop.type("systemctl kill -s KILL ventwright-keeper")
    within(PATIENCE_S, lambda: not shop.extracting, "the safe state")
    assert shop.configure().status == 0
    within(PATIENCE_S, lambda: shop.extracting, "extraction on again")


def test_after_a_power_cut_nothing_committed_is_lost(shop: Workshop) -> None:
    shop.level = DIRTY
    within(PATIENCE_S, lambda: shop.extracting, "extraction on")
    shop.cut_power()
    come_back(shop)


def test_again_the_installer_changes_nothing(shop: Workshop) -> None:
    said = shop.install()
    assert said.status == 0, said.text
    assert "runs already" in said.text


def test_an_upgrade_that_does_not_become_ready_is_taken_back(shop: Workshop) -> None:
    before = shop.type("readlink /opt/ventwright/now; md5sum /etc/ventwright/ventwright.toml").text
    broken = "ventwright/daemon/ventwright/keeper/systemd.py"
    copied = shop.type(
        f"cd && echo 'raise SystemExit(7)' >> {broken} && "
        "release=$(readlink -f /opt/ventwright/now) && cd ventwright && "
        "name=$(PYTHONPATH=systemd python3 -B -c 'from pathlib import Path; "
        "from installer.releases import name_of; print(name_of(Path(), False))') && "
        "new=/opt/ventwright/releases/$name && cp -a $release $new && "
        "grep -rlIF $release $new/bin | xargs sed -i s,$release,$new,g && "
        "find $new/lib -path '*keeper/systemd.py' -exec cp daemon/ventwright/keeper/systemd.py {} +"
    )  # a release as if it had been built here, which would take minutes
    assert copied.status == 0, copied.text
    said = shop.type("cd /root/ventwright && systemd/install")
    assert said.status == 1
    assert "The one before runs again" in said.text
    after = shop.type("readlink /opt/ventwright/now; md5sum /etc/ventwright/ventwright.toml").text
    assert after == before
    assert flowing(shop) < PATIENCE_S


def test_removed_it_leaves_the_readings_and_a_safe_relay(shop: Workshop) -> None:
    shop.level = DIRTY
    within(PATIENCE_S, lambda: shop.extracting, "extraction on")
    said = shop.type("cd /root/ventwright && systemd/install --remove")
    assert said.status == 0, said.text
    assert not shop.extracting
    left = shop.type("ls /var/lib/ventwright/readings.sqlite /etc/ventwright/ventwright.toml")
    assert left.status == 0, left.text
    assert shop.type("ls /opt/ventwright /etc/systemd/system/ventwright-keeper.service").status
