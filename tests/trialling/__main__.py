"""Run it as `cd tests && python -m trialling [PRINTS [EXPERIMENTS]]`; 1000 and 400 take an hour."""

import sys
from collections import Counter
from statistics import median

from trialling.long import REPEATS, SPREAD, experiments, prints, ratio_for, share
from ventwright.contrasts.power import welch_power


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    many = int(sys.argv[2]) if len(sys.argv) > 2 else 400
    if count:
        _prints(count)
    if many:
        for ratio, expected in ((1.0, _false()), (ratio_for(0.5), 0.5), (ratio_for(0.8), 0.8)):
            seen = experiments(many, ratio)
            print(
                f"{many} experiments, 2 x {REPEATS} prints, spread {SPREAD}, true ratio "
                f"{ratio:.2f}: a difference seen in {100 * seen:.1f} %, predicted "
                f"{100 * expected:.1f} %",
                flush=True,
            )


def _false() -> float:
    """Give how often Welch's test errs with so few repeats: a little less than the nominal 5 %."""
    return welch_power(0.0, REPEATS)


def _prints(count: int) -> None:
    held = prints(count)
    for name in ("total", "per_gram"):
        found, of = share(getattr(h, name) for h in held)
        print(f"{name}: {100 * found:.1f} % of {of} prints within the stated 95 % interval")
    known = [h for h in held if h.total is not None]
    print(f"given as below the floor: {sum(h.below for h in known)}")
    print(f"median half interval: {100 * median(h.half for h in known):.0f} % of the truth")
    why = Counter(h.why.partition("(")[2].partition(":")[0] for h in held if h.total is None)
    print(f"nothing claimed: {dict(why)}", flush=True)


if __name__ == "__main__":
    main()
