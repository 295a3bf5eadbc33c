"""What was replaced asks for its settings, whoever asked for the new part. Common practice."""

import tomllib

import pytest

from squibwise import case as line
from squibwise.catalog.load import Catalog

CAR = """
[case]
id = "own"
region = "US-OH"
[car]
drive_hand = "left"
equipment = "curtains-and-weight-sensing"
[profile]
name = "by-condition"
[[evidence]]
kind = "impact"
zone = "tail"
extent = "light"
[[evidence]]
kind = "passed"
what = "{part}:inspect"
result = "passed"
by = "R"
time = 2026-03-06T10:00:00
[[evidence]]
kind = "done"
what = "replaced"
component = "{part}"
by = "R"
time = 2026-03-06T15:00:00
"""


@pytest.mark.parametrize(
    "part", ["centre.control-unit", "driver.clock-spring", "centre.windshield"]
)
def test_a_new_part_that_no_rule_asked_for_is_set(part: str, catalog: Catalog) -> None:
    case = line.make_case(tomllib.loads(CAR.format(part=part)), catalog)
    todo = line.overview(case, catalog).todo
    setting = next(i for i in todo.items if i.id == f"{part}:calibrate")
    assert not setting.done
