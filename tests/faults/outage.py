"""72 hours without database and notifier, then both are back.

`cd tests && python -m faults.outage [HOURS] [MS]`, parts being sampled each MS ms. The database
that is back is the real one; the set of points in it is compared with the set stored.
"""

import gc
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from faults.house_in_fast_time import Fast, Sink, down, size
from receivers import eventually, metrics
from stored import points_of
from ventwright.courier.accounts import counts
from ventwright.settings.model import DAY, HOUR, MINUTE


def outage(folder: Path, hours: int, period: int) -> tuple[str, bool]:
    """Run; a sentence of figures, and whether all is as it must be."""
    base, owner = Sink(), Sink()
    down(base, True)
    down(owner, True)
    url, phone = f"http://127.0.0.1:{base.port}", f"127.0.0.1:{owner.port}"
    house, sizes = Fast(folder / "store", url, phone, period), []
    assert house.settings.phone
    phones = replace(house.settings.phone, too_old=7 * DAY)
    house.settings = replace(house.settings, phone=phones)
    house.courier.close()
    house.open_courier()
    for hour in range(hours):
        house.level = 100.0 if hour % 4 == 1 else 0.0
        house.run(HOUR)
        gc.collect()
        sizes.append(size(house.folder))
    down(owner, False)
    with metrics(folder / "metrics") as server:
        assert house.settings.database
        back = replace(house.settings.database, url=server.url)
        house.settings = replace(house.settings, database=back)
        house.courier.close()
        house.open_courier()
        house.run(30 * MINUTE)
        house.keeping._commit()
        house.courier.drain(HOUR)
        house.close()
        wanted = points_of(house.folder)
        eventually(lambda: len(server.points()) >= len(wanted))
        same = server.points() == wanted
    told = counts(house.folder)
    alarms = {t: n for t, n in owner.titles.items() if "particles" in t}
    early, late = sizes[min(4, len(sizes) - 1)], sizes[-1]
    base.close()
    owner.close()
    verdict = "exactly these" if same else "OTHERS"
    lines = (
        f"{hours} h outage: {len(wanted)} points stored, the database has {verdict}",
        f"{sum(house.raised.values())} times raised; messages {alarms}, {told['told_later']} told "
        f"together with a later one, {told['given_up']} given up",
        f"after 5 h {early}",
        f"at the end {late}",
        f"waiting: {told['waiting']} samples, {told['messages_waiting']} messages",
    )
    text = "\n".join(lines)
    return text, same and not told["waiting"] and not told["messages_waiting"]


def main() -> int:
    """Run and tell."""
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else 72
    period = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        text, good = outage(Path(folder), hours, period)
    print(text)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
