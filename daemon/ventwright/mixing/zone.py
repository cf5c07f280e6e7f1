"""The well-mixed zone: what a source, a flow of air and time do to a concentration.

    V dC/dt = E - V L C,  L = losses together, 1/h

C is the rise above what the room shows without a source. Amounts are in the unit of the
concentration times m³ (µg for µg/m³); hours and m³ throughout. Knows formulas only.
Source: single-zone mass balance, limits.md section 6 (confirmed there on two pages).
"""

from math import exp, expm1, inf, log


def steady(emission: float, volume: float, loss_rate: float) -> float:
    """Give the rise that a steady source ends at: E/(V L); infinite without any loss.

    `emission` amount/h, `volume` m³ above 0, `loss_rate` 1/h, at least 0.
    """
    flow = volume * loss_rate
    return emission / flow if flow else (inf if emission else 0.0)


def rise_after(
    hours: float, volume: float, loss_rate: float, emission: float = 0.0, start: float = 0.0
) -> float:
    """Give the rise after `hours` from `start`: C = Css + (C0 - Css) exp(-L t); at least 0 h."""
    kept = exp(-loss_rate * hours)
    share = -expm1(-loss_rate * hours) / loss_rate if loss_rate else hours
    return start * kept + emission / volume * share


def time_to_fall(share_left: float, loss_rate: float, mixing: float = 1.0) -> float:
    """Give the hours until `share_left` (above 0, to 1) of a rise is left: mixing ln(1/share)/L.

    `mixing` multiplies the time, 1 for well mixed to 10 for poor mixing.
    Source: CDC 2003, appendix B, table B.1; the factor: MMWR 1994;43(RR-13), table S3-1.
    """
    return mixing * log(1 / share_left) / loss_rate if loss_rate else (inf if share_left < 1 else 0)


def half_life(loss_rate: float) -> float:
    """Give the hours in which a rise halves; infinite without loss."""
    return time_to_fall(0.5, loss_rate)


def flow_for(limit: float, emission: float, mixing: float = 1.0) -> float:
    """Give the flow of clean air, m³/h, at which a steady source stays at `limit` (above 0): K E/C.

    The losses of the room count towards it. `mixing` K: 1 for well mixed to 10.
    """
    return mixing * emission / limit


def clean_air(volume: float, loss_rate: float, natural: float) -> float:
    """Give clean air delivery, m³/h: V (ke - kn), from loss rates with and without the device, 1/h.

    Source: AHAM AC-1, IEC 63086-1, GB/T 18801 (from memory; that the natural rate is subtracted
    is confirmed).
    """
    return volume * (loss_rate - natural)
