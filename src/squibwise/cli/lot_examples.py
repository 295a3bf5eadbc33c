"""Invented lots with every documented column, some of them bad, for trying and measuring."""

import random
from collections.abc import Iterator, Sequence

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog
from squibwise.intake.lots import COLUMNS
from squibwise.model.names import split_component

_BAD = 0.01
_ZONES = ("nose-centre", "nose-left", "nose-right", "door-left", "door-right", "tail")


def invent_lots(
    count: int, catalog: Catalog, patterns: int = 5_000, seed: int = 1
) -> Iterator[Sequence[str]]:
    """Yield the heading and then invented lots, about one in a hundred of them bad.

    Args:
        count: Rows below the heading.
        catalog: Templates and components.
        patterns: Most distinct patterns of evidence among the good ones.
        seed: The same seed gives the same lots.
    """
    rng = random.Random(seed)  # noqa: S311 - nothing secret is drawn
    pool = [_pattern(rng, catalog) for _ in range(min(patterns, count))]
    yield COLUMNS
    for number in range(1, count + 1):
        row = dict(rng.choice(pool)) | {"id": f"lot-{number}"}
        row["resale"] = str(rng.randrange(3000, 24_000, 250))
        row["other_costs"] = str(rng.randrange(500, 5000, 100)) if rng.random() < 0.9 else ""
        if rng.random() < _BAD:
            row |= rng.choice(_FAULTS)
        yield [row.get(c, "") for c in COLUMNS]


_FAULTS = (
    {"id": ""},
    {"model_year": "nineteen"},
    {"zone": "the sky"},
    {"clock": "13"},
    {"resale": "call us"},
    {"deployed": "driver.rocket"},
    {"equipment": "everything"},
)


def _pattern(rng: random.Random, catalog: Catalog) -> dict[str, str]:
    name = rng.choice(sorted(catalog.templates))
    components = whole_template(name, catalog.templates).components
    charges = sorted(c for c in components if catalog.kinds[split_component(c).kind].fires)
    told = rng.sample(charges, min(len(charges), rng.randrange(0, 4)))
    split = rng.randrange(0, len(told) + 1)
    return {
        "region": rng.choice(("US-OH", "US-TX", "GB", "")),
        "model_year": str(rng.randrange(2004, 2024)),
        "drive_hand": "left",
        "equipment": name,
        "zone": rng.choice(_ZONES),
        "clock": str(rng.randrange(1, 13)) if rng.random() < 0.5 else "",
        "extent": rng.choice(("light", "moderate", "severe", "")),
        "deployed": ";".join(told[:split]),
        "not_deployed": ";".join(told[split:]),
        "airbags": "",
        "driver_belt": rng.choice(("latched", "")),
        "passenger": rng.choice(("yes", "no", "")),
    }
