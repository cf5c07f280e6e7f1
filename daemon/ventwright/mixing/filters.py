"""What filter classes take out in one pass, and what that makes of a recirculating flow.

Knows the tables of EN 1822-1 and ISO 29463-1 and formulas; no product. The efficiencies are the
least ones at the most penetrating particle size (0.1 to 0.3 µm); other sizes are held better.
Source: limits.md section 7, both tables confirmed there on two pages each.
"""

EN_1822 = {
    "E10": 0.85,
    "E11": 0.95,
    "E12": 0.995,
    "H13": 0.9995,
    "H14": 0.99995,
    "U15": 0.999995,
    "U16": 0.9999995,
    "U17": 0.99999995,
}
"""Least overall efficiency by class."""

ISO_29463 = {
    "ISO 15 E": 0.95,
    "ISO 20 E": 0.99,
    "ISO 25 E": 0.995,
    "ISO 30 E": 0.999,
    "ISO 35 H": 0.9995,
    "ISO 40 H": 0.9999,
    "ISO 45 H": 0.99995,
    "ISO 50 U": 0.99999,
    "ISO 55 U": 0.999995,
    "ISO 60 U": 0.999999,
    "ISO 65 U": 0.9999995,
    "ISO 70 U": 0.9999999,
    "ISO 75 U": 0.99999995,
}

CLASSES = EN_1822 | ISO_29463


def efficiency(name: str) -> float:
    """Give the least share that a class takes out of the air in one pass, 0 to 1.

    Case and spaces do not matter. Raises ValueError with the classes that there are.
    """
    wanted = name.replace(" ", "").casefold()
    for known, share in CLASSES.items():
        if known.replace(" ", "").casefold() == wanted:
            return share
    raise ValueError(f'"{name}" is no filter class of EN 1822 or ISO 29463: {", ".join(CLASSES)}')


def delivered(flow: float, single_pass: float, kept: float = 1.0) -> float:
    """Give the clean air, m³/h, of `flow` m³/h through a filter: flow times efficiency times fit.

    `single_pass` 0 to 1; `kept` is the share of the flow that really passes the filter, 0 to 1.
    """
    return flow * single_pass * kept
