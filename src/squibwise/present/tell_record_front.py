"""The first page of a record: what somebody who buys or inspects the car must know."""

from collections import Counter
from collections.abc import Sequence
from itertools import zip_longest

from squibwise.model.proof import Gate, ProofRecord
from squibwise.present.figures import cut, listed
from squibwise.present.record_content import Content, StatedComponent
from squibwise.present.tell_record_annex import rules_followed, tell_equipment, tell_signature
from squibwise.present.tell_to_know import LONGEST_STATED, list_fitted, tell_to_know
from squibwise.present.telling import Section, Table, Text, filled, section

MOST_MARKS = 14
LEGEND = ("fired, replaced", "fired, NOT replaced", "may have fired", "replaced")


def tell_first_page(
    record: ProofRecord, content: Content, shown: Sequence[StatedComponent]
) -> tuple[Section, ...]:
    """Return the first page; ``shown`` stands on its drawing."""
    return (
        *filled((_spent_or_live(content),)),
        tell_car_of(content),
        _what_fired(content, shown),
        tell_to_know(record, content),
        _gates(record, content),
        section("What this record cannot show", in_columns(content.texts.limits)),
    )


def tell_car_of(content: Content) -> Section:
    """Return the car in three lines."""
    car = content.car
    year = f", model year {car.model_year}" if car.model_year else ""
    rows = (
        ("Car", f"{car.vin or 'VIN not given'}{year}"),
        ("Equipment", f"{tell_equipment(content)}, driver on the {car.drive_hand}"),
        ("Rules", rules_followed(content)),
    )
    return Section(blocks=(Table(rows=rows),))


def list_shown(content: Content) -> list[StatedComponent]:
    """Return what the drawing shows: what fired or may have, then what else was replaced."""
    fitted = list_fitted(content)
    order = {"fired": 0, "perhaps": 1}
    found = [c for c in content.components if c.fired_in_crash in order or c.id in fitted]
    found.sort(key=lambda c: (order.get(c.fired_in_crash, 2), not c.stages))
    return found


def state_of(one: StatedComponent, content: Content) -> str:
    """Return what became of a component; see ``Mark``."""
    if one.id not in list_fitted(content):
        return "fired" if one.fired_in_crash == "fired" else "perhaps"
    return "mended" if one.fired_in_crash == "fired" else "replaced"


_STATES = dict(zip(("mended", "fired", "perhaps", "replaced"), LEGEND, strict=True))


def _what_fired(content: Content, shown: Sequence[StatedComponent]) -> Section:
    rows = tuple(
        (str(n), c.title, _STATES[state_of(c, content)])
        for n, c in enumerate(shown[:MOST_MARKS], start=1)
    )
    if not rows:
        words = Text(text="Nothing is held to have fired, and nothing was replaced.")
        return section("What fired, what was replaced", words)
    more = len(shown) - len(rows)
    rest = (Text(text=f"and {more} more, see the parts", tone="quiet"),) if more else ()
    table = Table(rows=rows, head=("", "Part", ""), widths=(0, 3, 2))
    return section("What fired, what was replaced", table, *rest)


def _spent_or_live(content: Content) -> Section | None:
    """Return the devices that fired or likely did and are not proven spent; they look it."""
    spent = [
        f"{r.title} ({'stage' if len(r.stages) == 1 else 'stages'} {listed(r.stages)})"
        for r in content.live_charges
        if r.looks_spent
    ]
    if not spent:
        return None
    head = Text(text=content.texts.standing)
    told = Text(text=f"Fired or likely fired, and not proven spent: {', '.join(spent)}.")
    return Section(heading="Handle as live", blocks=(told, head), tone="alarm")


_TOLD_ABOVE = {"answerable": "release", "maker-procedure": "maker-procedure"}
"""Gates, and the signature of each that the head of the page repeats."""
_GRADES = ("shown", "stated", "closed", "not asked", "open")


def _gates(record: ProofRecord, content: Content) -> Section:
    """Return how every demand stands: shown, only stated, or open."""
    by = Counter(g.grade or ("open" if g.open else "closed") for g in record.gates)
    counts = ", ".join(f"{by[w]} {w}" for w in _GRADES if by[w])
    head = f"{len(record.gates)} demands: {counts}"
    if record.draft:
        told = [_open_gate(g) for g in record.gates if g.open]
        return section(f"Open gates ({head})", in_columns(told), tone="alarm")
    above = [gate for gate, word in _TOLD_ABOVE.items() if tell_signature(content, word)]
    told = [_stated_gate(g) for g in record.gates if g.grade == "stated" and g.id not in above]
    words = "Only stated, shown by no scan, no reading, no file and no photograph in this record:"
    blocks = (Text(text=words, tone="strong"), in_columns(told)) if told else ()
    return section(f"Gates ({head})", *blocks)


def _open_gate(gate: Gate) -> str:
    more = f" ({len(gate.missing)})" if len(gate.missing) > 1 else ""
    return f"{gate.text}{more}"


def _stated_gate(gate: Gate) -> str:
    first = cut(gate.stated[0], LONGEST_STATED)
    more = f" and {len(gate.stated) - 1} more" if len(gate.stated) > 1 else ""
    return f"{gate.text} {first}{more}."


def in_columns(texts: Sequence[str]) -> Table:
    """Return short texts in two columns, about as long as each other."""
    half, length = sum(map(len, texts)) / 2, 0
    columns: tuple[list[str], list[str]] = ([], [])
    for text in texts:
        columns[length + len(text) / 2 > half].append(f"- {text}")
        length += len(text)
    return Table(rows=tuple(zip_longest(*columns, fillvalue="")), widths=(1, 1))
