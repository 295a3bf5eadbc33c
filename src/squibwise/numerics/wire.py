"""Copper wire: size, resistance by length and temperature."""

import math

from squibwise.errors import ModelError

# The gauge numbers are a definition, not a measurement: ASTM B258 fixes 0.005 in at number 36 and
# 0.46 in at number 0000, 39 steps apart.
_MM_AT_36 = 0.127
_RATIO = 92.0
_STEPS = 39.0


def gauge_mm(gauge: int) -> float:
    """Return the diameter of an American Wire Gauge number, in mm.

    Source: astm-b258: ``d = 0.127 mm * 92 ** ((36 - n) / 39)``.

    Raises:
        ModelError: The number is outside 0 to 40.
    """
    if not 0 <= gauge <= 40:
        raise ModelError(f"gauge number {gauge} is not between 0 and 40")
    return float(_MM_AT_36 * _RATIO ** ((36.0 - gauge) / _STEPS))


def gauge_mm2(gauge: int) -> float:
    """Return the copper cross-section of a gauge number, in mm2, solid wire."""
    return math.pi / 4.0 * gauge_mm(gauge) ** 2


def ohm_per_m(mm2: float, cabin_c: float, resistivity: float, alpha_20: float) -> float:
    """Return the resistance of one metre of wire, in ohm/m.

    Args:
        mm2: Copper cross-section. [mm2]
        cabin_c: Temperature of the wire. [degC] Good from about -50 to 150 degC.
        resistivity: At 20 degC. [ohm mm2/m] 1/58 for standard annealed copper.
        alpha_20: Temperature coefficient at 20 degC. [1/K]

    Raises:
        ModelError: A cross-section not above 0.

    Source: iec-60287, table 1 for the coefficient; linear in temperature. Solid wire: stranded
    wire is some per cent higher.
    """
    if not mm2 > 0.0:
        raise ModelError(f"a wire of {mm2} mm2 has no resistance")
    return resistivity / mm2 * (1.0 + alpha_20 * (cabin_c - 20.0))


def pair_ohm(
    metres: float, per_metre: float, contacts: int = 0, contact_ohm: float = 0.0, load: float = 0.0
) -> float:
    """Return the resistance of a loop: out and back, its contacts and what it ends in, in ohm.

    Args:
        metres: Length of the harness, one way. [m]
        per_metre: Resistance of one wire. [ohm/m]
        contacts: Number of contacts in series.
        contact_ohm: Resistance of each. [ohm]
        load: What the pair ends in. [ohm]
    """
    return 2.0 * metres * per_metre + contacts * contact_ohm + load
