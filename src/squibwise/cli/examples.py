"""Sheets to fill in, and invented lots with every documented column for trying and measuring."""

import random
from collections.abc import Iterator, Mapping, Sequence

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog, holds_charge
from squibwise.intake.lots import COLUMNS
from squibwise.model.bid import COMEBACKS
from squibwise.model.work import Work
from squibwise.plan.ordering import BODY_WORK

_TERMS = """\
# What your shop works under; money in whole units of the case's currency.
technicians = 1          # or 2
day_starts = 08:00:00
day_hours = 8
delivered = 4            # working hours of a day after which what comes that day is there
works = ["mon", "tue", "wed", "thu", "fri"]
# closed = [2026-12-25]  # other days without work
# hour = 95              # what an hour of work costs you; else the labour-hour of the case
bay_day = 0              # what a day costs that the car stands, weekends too
# deadline = 14          # days from today
late_day = 0             # what each day beyond it costs
rejects = 1.0            # accepted chance that any used part is rejected on arrival
lead_chance = 0.8        # a part is counted on from the day it is there with this chance
seconds = 20             # of one search

# supplier = "Weirside"  # who sent the sheet of offers, where its rows name nobody

# [columns]              # which heading of that sheet is which column
# "Our price" = "price"

# [late]                 # an ordered part that is late: days from today, by the offer's name
# line-7 = 12

# [cancel]               # share of its price that cancelling it costs; left out: as its return
# line-7 = 0.2           # terms say, and all of it where they say nothing
"""


def write_terms(work: Work) -> str:
    """Return terms of a shop to fill in, with the operations that others may do."""
    services = [
        f'# [services."{o.id}"]  # {o.title}, done by somebody else\n'
        "# days = 0.5\n# notice = 0  # days until there is an appointment\n# price = 0\n"
        for o in work.operations
        if (o.action == "set" or o.id == BODY_WORK) and not o.done
    ]
    return "\n".join((_TERMS, *services))


_SALE = """\
# What you know of the car and the sale; money in whole units of the case's currency.
resale = { low = 0, likely = 0, high = 0 }          # finished, with a clean title; 0 = not known
brand_discount = { low = 0, likely = 0, high = 0 }  # share that the brand of the title takes off
# brand_together = 0.3   # how far that goes with the size of the crash, 0 to 1
{usual}# expected_price = 3200  # what it will likely go for
tax = 0
tax_on_fees = false
transport = { low = 0, likely = 0, high = 0 }       # also inspection, title, selling, reserve
days = { low = 0, likely = 0, high = 0 }            # until the money is back
day = 0                  # what a day costs
part_out = 0             # in parts, broken; transport, title, days come off besides
# comebacks = { share = 0.1, cost = { low = 50, likely = 150, high = 600 } }  # after the sale

# [[fees]]               # one block for each fee of the venue, in bands of the price
# name = "buyer"
# source = "the venue's page"
# on = 2026-11-20
# bands = [ { from_price = 0, flat = 150 }, { from_price = 2500, share = 0.11 } ]
"""


def write_sale(catalog: Catalog) -> str:
    """Return a sheet of a sale to fill in: every trade and every question that comes first."""
    singles = ("loss_chance", "target", "bidders", "estimate_error", "increment")
    usual, means = catalog.bidding.usual(), catalog.bidding.means()
    lines = "".join(f"{f} = {usual.get(f, 0):g}".ljust(25) + f"# {means[f]}\n" for f in singles)
    shares = [f"# [shares.{t}]\n# cost = {{ low = 0, likely = 0, high = 0 }}  # or: nil = true\n"
              for t in catalog.bidding.trades]  # fmt: skip
    gates = [
        f'[gates.{q.id}]  # {q.text}\nanswer = "unknown"  # yes or no, with source and date\n'
        '# source = "who said so"\n# on = 2026-11-24\n'
        for q in catalog.bidding.question
    ]
    return "\n".join((_SALE.replace("{usual}", lines), *shares, *gates))


_COMEBACKS = """\
# comebacks = []  # once it is known that nothing came back; else what did, own hours in the cost:
# comebacks = [ { what = "seat connector", day = 40, cost = 180 } ]
"""


def write_settled(case: str, currency: str, expected: Mapping[str, float], paid: str) -> str:
    """Return a sheet of how a car came out, what was expected filled in.

    Args:
        case: Its id.
        currency: Of the case.
        expected: By line, in whole units and days.
        paid: What is known of the parts that were bought, in words; empty = nothing.
    """
    rows = [f"{k} = {v:.0f}" for k, v in expected.items()]
    rows += [f"# {k} =  # no bid.toml says" for k in ("resale", "days") if k not in expected]
    lines = dict.fromkeys((*expected, "resale", "days"))
    asked = [f"# {k} ={paid if k == 'parts' else ''}" for k in lines if k != COMEBACKS]
    head = f"case = {json_text(case)}\ncurrency = {json_text(currency)}\n{_COMEBACKS}"
    return "\n".join(
        (head, "[expected]", *rows, "", "[actual]  # fill in what is known", *asked, "")
    )


def json_text(text: str) -> str:
    """Return a text in quotation marks, as TOML and JSON both read it."""
    import json

    return json.dumps(text, ensure_ascii=False)


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
    charges = sorted(c for c in components if holds_charge(c, catalog))
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
