"""Wire tables."""

import pytest

from squibwise.errors import ModelError
from squibwise.numerics.wire import gauge_mm, gauge_mm2, ohm_per_m, pair_ohm

COPPER = 1.0 / 58.0  # IEC 60028: standard annealed copper, ohm mm2/m at 20 degC
ALPHA = 0.00393  # IEC 60287, table 1


# Source: ASTM B258 and public wire tables: AWG 18 20.94-21.0, 20 33.29-33.3, 22 52.94-53.0 mohm/m;
# the other rows computed from the formula.
@pytest.mark.parametrize(
    ("gauge", "mm", "mm2", "mohm"),
    [
        (16, 1.2908, 1.3087, 13.174),
        (18, 1.0237, 0.8230, 20.948),
        (20, 0.8118, 0.5176, 33.308),
        (22, 0.6438, 0.3255, 52.962),
        (24, 0.5106, 0.2047, 84.213),
    ],
)
def test_gauge_table(gauge: int, mm: float, mm2: float, mohm: float) -> None:
    assert gauge_mm(gauge) == pytest.approx(mm, abs=6e-5)
    assert gauge_mm2(gauge) == pytest.approx(mm2, abs=6e-5)
    assert 1000 * ohm_per_m(gauge_mm2(gauge), 20.0, COPPER, ALPHA) == pytest.approx(mohm, rel=5e-5)


# Source: computed with the IEC 60287 coefficient: AWG 22 at 0 and 85 degC.
@pytest.mark.parametrize(("cabin_c", "mohm"), [(0.0, 48.799), (85.0, 66.491)])
def test_temperature(cabin_c: float, mohm: float) -> None:
    assert 1000 * ohm_per_m(gauge_mm2(22), cabin_c, COPPER, ALPHA) == pytest.approx(mohm, rel=5e-5)


# Source: worked example, computed: 2 x 1.8 m of 0.35 mm2 at 52.5 mohm/m, four contacts of 10 mohm,
# 2.15 ohm at the end: 2.379 ohm.
def test_loop_of_wire_contacts_and_load() -> None:
    assert pair_ohm(1.8, 0.0525, 4, 0.010, 2.15) == pytest.approx(2.379, abs=1e-9)


def test_a_wire_without_copper_is_refused() -> None:
    with pytest.raises(ModelError):
        ohm_per_m(0.0, 20.0, COPPER, ALPHA)


def test_a_gauge_off_the_table_is_refused() -> None:
    with pytest.raises(ModelError):
        gauge_mm(41)
