"""Whether words tell of a part of their own or belong to the fault above them."""

from squibwise.intake.report.sense import Sense

HEADS = frozenset(
    """bag charge pretension curtain knee sensor buckle occupant lamp clockspring unit crashrecord
    offswitch offlamp seatposition airbagmodule loadlimiter middle cushion batterycut hvcut
    headcharge rollbar bonnet columncharge ventcharge motorbelt inflatablebelt belttension
    electronics crashsignal""".split()
)
OWN_PARTS = HEADS - {"unit", "airbagmodule"}
FAULT_WORDS = frozenset(
    """open high low resistance range short ground battery cross voltage communication configuration
    identity calibration internal performance mechanical defect crashrecord deployed notfired
    crashsignal""".split()
)
TELLS = frozenset(
    """open high low short cross voltage communication configuration identity calibration internal
    performance mechanical defect crashrecord deployed range""".split()
)
_TOLD_APART = frozenset("bag pretension curtain knee sensor buckle occupant lamp".split())


def names_another(one: Sense, two: Sense) -> bool:
    """Tell whether words name a part or, with a fault, a place that the fault above has not."""
    heads = heads_of(one)
    if heads:
        return not heads & heads_of(two)
    return bool(one.features & TELLS) and bool((one.sides - two.sides) | (one.seats - two.seats))


def differs(one: Sense, two: Sense) -> bool:
    """Tell whether two pieces of text name different parts, places or stages."""
    pairs = ((one.seats, two.seats), (one.sides, two.sides), (one.stages, two.stages))
    return any(a and b and a != b for a, b in pairs) or heads_of(one) != heads_of(two)


def heads_of(sense: Sense) -> frozenset[str]:
    """Return what the words name of the parts that are told apart here."""
    return frozenset(sense.features & _TOLD_APART)


def stands_alone(sense: Sense) -> bool:
    """Words without a code that names a part and a fault or a status."""
    features = sense.features
    part = features & HEADS
    fault = features & TELLS
    return bool(part) and bool(fault or sense.statuses)
