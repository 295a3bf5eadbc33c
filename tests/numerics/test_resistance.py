"""Resistance of copper wire."""

import pytest

from squibwise.errors import ModelError
from squibwise.numerics.resistance import ohm_per_m

COPPER = 1.0 / 58.0  # IEC 60028: standard annealed copper, ohm mm2/m at 20 degC
ALPHA = 0.00393  # IEC 60287, table 1


# Source: ASTM B258 and public wire tables: AWG 18 20.94-21.0, 20 33.29-33.3, 22 52.94-53.0 mohm/m;
# the other rows computed from the formula.
@pytest.mark.parametrize(
    ("gauge", "mm2", "mohm"),
    [(16, 1.3087, 13.174), (18, 0.8230, 20.948), (20, 0.5176, 33.308), (22, 0.3255, 52.962)],
)
def test_gauge_table(gauge: int, mm2: float, mohm: float) -> None:
    assert 1000 * ohm_per_m(mm2, 20.0, COPPER, ALPHA) == pytest.approx(mohm, rel=2e-4), gauge


# Source: computed with the IEC 60287 coefficient: AWG 22 at 0 and 85 degC.
@pytest.mark.parametrize(("cabin_c", "mohm"), [(0.0, 48.799), (85.0, 66.491)])
def test_temperature(cabin_c: float, mohm: float) -> None:
    assert 1000 * ohm_per_m(0.325534, cabin_c, COPPER, ALPHA) == pytest.approx(mohm, rel=5e-5)


def test_a_wire_without_copper_is_refused() -> None:
    with pytest.raises(ModelError):
        ohm_per_m(0.0, 20.0, COPPER, ALPHA)
