"""Components in people's words."""

import pytest

from squibwise.catalog.load import component_title, load_catalog


@pytest.mark.parametrize(
    ("component", "title"),
    [
        ("driver.front-bag", "driver front airbag"),
        ("row2-left.buckle-switch", "row 2 left buckle switch"),
        ("centre.control-unit", "airbag control unit"),
        ("passenger.off-indicator", "passenger airbag OFF indicator"),
        ("nose-left.impact-sensor-2", "nose left crash sensor 2"),
        ("driver.unheard-of", "driver unheard-of"),
    ],
)
def test_a_component_is_named_as_people_say_it(component: str, title: str) -> None:
    assert component_title(component, load_catalog()) == title
