"""From what words name, or a code table's row, to the parts that may be meant and their places."""

import msgspec

from squibwise.catalog.codes import CodeMeaning
from squibwise.catalog.load import Catalog
from squibwise.catalog.vocabulary import NO_PART, Rule
from squibwise.intake.report.sense import Sense, sense_of
from squibwise.model.car import Car
from squibwise.model.names import SEATS, SIDES, ComponentName, Side, side_of, split_component

CENTRAL = ("wiring", "roll-bar")  # taken to sit in the middle where a line names no side


class Hand(msgspec.Struct, frozen=True, kw_only=True):
    """On which side the driver sits.

    Attributes:
        side: Left or right.
        is_known: False when nobody stated it.
    """

    side: Side
    is_known: bool


class Spot(msgspec.Struct, frozen=True, kw_only=True):
    """One place a part may have.

    Attributes:
        place: Of the kind's places.
        number: 2 when it is the second of its kind there.
        weight: Share of belief.
        assumed: It rests on an assumed drive hand.
    """

    place: str
    number: int = 1
    weight: float = 1.0
    assumed: bool = False


def spots(kind: str, sense: Sense, allowed: tuple[str, ...], hand: Hand) -> tuple[Spot, ...]:
    """Return where a part of this kind may sit; none when the line does not tell.

    Args:
        kind: Component kind.
        sense: What the line says.
        allowed: Places that the catalogue allows for the kind.
        hand: On which side the driver sits.
    """
    if len(allowed) == 1:
        return (Spot(place=allowed[0]),)
    if kind == "impact-sensor":
        found = _sensor_spots(sense, hand)
    elif all(p in SIDES for p in allowed):
        found = _side_spots(sense, hand)
    elif any(p in SEATS for p in allowed):
        found = _seat_spots(kind, sense, hand)
    else:
        found = _zone_spots(kind, sense, hand, allowed)
    fitting = tuple(s for s in found if s.place in allowed and s.weight > 0.0)
    total = sum(s.weight for s in fitting)
    return tuple(msgspec.structs.replace(s, weight=s.weight / total) for s in fitting)


def row_of(sense: Sense) -> int | None:
    """Return the row of seats a line speaks of; None when it does not tell."""
    if len(sense.rows) == 1:
        return next(iter(sense.rows))
    if sense.ends == {"rear"}:
        return 2
    return 1 if sense.ends == {"front"} else None


def car_sides(sense: Sense, hand: Hand) -> tuple[tuple[Side, float, bool], ...]:
    """Return the car's sides a line speaks of, with share and whether a hand was assumed."""
    named: list[Side] = [s for s in ("left", "right") if s in sense.sides]
    by_seat = [side_of(seat, hand.side) for seat in sorted(sense.seats)]
    if len(named) == 1:
        if len(by_seat) == 1 and by_seat[0] != named[0] and hand.is_known:
            return ((named[0], 0.5, False), (_opposite(named[0]), 0.5, False))
        return ((named[0], 1.0, False),)
    if len(named) == 2:
        return tuple((s, 0.5, False) for s in named)
    if len(by_seat) == 1 and by_seat[0] is not None:
        return ((by_seat[0], 1.0, not hand.is_known),)
    return ()


def _opposite(side: Side) -> Side:
    return "right" if side == "left" else "left"


def _seat_spots(kind: str, sense: Sense, hand: Hand) -> tuple[Spot, ...]:
    row = row_of(sense)
    if kind == "occupant-sensor" and sense.sides and len(sense.seats) == 1:
        return (Spot(place=next(iter(sense.seats))),)  # the side is a corner of that seat
    if row in (2, 3):
        return _rear_spots(sense, hand, row)
    if sense.seats:
        return _front_by_seat(sense, hand)
    if "centre" in sense.sides and kind != "centre-bag":
        return (Spot(place="row2-centre"),) if row is None else ()
    found = []
    for side, weight, _ in car_sides(sense, hand):
        seat = "driver" if side == hand.side else "passenger"
        found.append(Spot(place=seat, weight=weight, assumed=not hand.is_known))
    if not found:
        return _usual_seat(kind)
    return tuple(found)


def _front_by_seat(sense: Sense, hand: Hand) -> tuple[Spot, ...]:
    if len(sense.seats) == 2:
        return tuple(Spot(place=s, weight=0.5) for s in sorted(sense.seats))
    seat = next(iter(sense.seats))
    sides = {s for s in ("left", "right") if s in sense.sides}
    if hand.is_known and len(sides) == 1 and side_of(seat, hand.side) not in sides:
        other = "passenger" if seat == "driver" else "driver"
        return (Spot(place=seat, weight=0.5), Spot(place=other, weight=0.5))
    return (Spot(place=seat),)


def _rear_spots(sense: Sense, hand: Hand, row: int) -> tuple[Spot, ...]:
    if "centre" in sense.sides and not sense.sides & {"left", "right"}:
        return (Spot(place=f"row{row}-centre"),)
    named = sense.sides & {"left", "right"}
    sides = (
        tuple((s, 1.0 / len(named), False) for s in sorted(named))
        if named
        else (
            car_sides(sense, hand) if "byside" in sense.features or "driver" in sense.seats else ()
        )
    )
    return tuple(Spot(place=f"row{row}-{s}", weight=w, assumed=a) for s, w, a in sides)


def _usual_seat(kind: str) -> tuple[Spot, ...]:
    """Where the only such part of a car usually sits. Common practice, no source."""
    if kind == "occupant-sensor":
        return (Spot(place="passenger"),)
    if kind == "centre-bag":
        return (Spot(place="driver", weight=0.7), Spot(place="passenger", weight=0.3))
    return ()


def _side_spots(sense: Sense, hand: Hand) -> tuple[Spot, ...]:
    number = 2 if 2 in sense.numbers or 2 in sense.stages else 1
    sides = car_sides(sense, hand)
    return tuple(Spot(place=s, weight=w, assumed=a, number=number) for s, w, a in sides)


def _sensor_spots(sense: Sense, hand: Hand) -> tuple[Spot, ...]:
    sides = car_sides(sense, hand)
    exact = next((z for z in ("door", "pillarc", "pillar") if z in sense.features), None)
    if exact is not None:
        zone, number = ("pillar", 2) if exact == "pillarc" else (exact, 1)
        if zone == "door" and row_of(sense) == 2:
            number = 2
        return tuple(
            Spot(place=f"{zone}-{s}", number=number, weight=w, assumed=a) for s, w, a in sides
        )
    is_side = "side" in sense.features or ("byside" in sense.features and "front" not in sense.ends)
    if is_side:
        return _by_zone(sides, {"pillar": 0.5, "door": 0.5})
    if "centre" in sense.sides:
        share = 1.0 if "front" in sense.ends else 0.5
        return (Spot(place="nose-centre", weight=share), Spot(place="centre", weight=1.0 - share))
    if "front" in sense.ends:
        return _by_zone(sides, {"nose": 1.0})
    if "rear" in sense.ends:
        tail = Spot(place="tail", weight=0.4)
        return (*_by_zone(sides, {"pillar": 0.6}, number=2), tail)
    return _by_zone(sides, {"nose": 0.4, "pillar": 0.3, "door": 0.3})


def _by_zone(
    sides: tuple[tuple[Side, float, bool], ...], zones: dict[str, float], number: int = 1
) -> tuple[Spot, ...]:
    return tuple(
        Spot(place=f"{zone}-{side}", number=number, weight=weight * share, assumed=assumed)
        for side, weight, assumed in sides
        for zone, share in zones.items()
    )


def _zone_spots(kind: str, sense: Sense, hand: Hand, allowed: tuple[str, ...]) -> tuple[Spot, ...]:
    sides = car_sides(sense, hand)
    found = tuple(
        Spot(place=p, weight=w, assumed=a)
        for side, w, a in sides
        for p in allowed
        if side_of(p, hand.side) == side
    )
    if not found and kind in CENTRAL:
        return (Spot(place="centre"),)
    return found


_DOUBT = 0.5
SURE_PARTS = frozenset(  # no other system of a car has these
    """bag charge pretension curtain knee middle cushion inflatablebelt crashrecord
    clockspring""".split()
)


class Scope(msgspec.Struct, frozen=True, kw_only=True):
    """What every line of a report is read against.

    Attributes:
        catalog: The reviewed facts.
        hand: On which side the driver sits.
        car: The car, when the report belongs to one.
        is_foreign: The line stands under another unit than the restraint unit.
        has_plain_front: The report names a seat's airbag without the word side, so that
            ``driver side airbag`` on another line is the side airbag. Common practice, no source.
    """

    catalog: Catalog
    hand: Hand
    car: Car | None = None
    is_foreign: bool = False
    has_plain_front: bool = False


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """One part that a line may mean.

    Attributes:
        kind: Component kind.
        place: None when the line does not tell.
        number: 2 when it is the second of its kind there.
        stage: Stage of its circuit; None when not told.
        weight: Share of belief.
        assumed: It rests on an assumed drive hand.
    """

    kind: str
    place: str | None = None
    number: int = 1
    stage: int | None = None
    weight: float = 1.0
    assumed: bool = False

    @property
    def component(self) -> str | None:
        """Component id; None while the place is unknown."""
        if self.place is None or not self.kind:
            return None
        return ComponentName(place=self.place, kind=self.kind, number=self.number).id

    def agrees(self, other: "Part") -> bool:
        """Tell whether both may be the same part."""
        places = self.place is None or other.place is None or self.place == other.place
        return self.kind == other.kind and places

    def filled(self, other: "Part", with_stage: bool) -> "Part":
        """Return this part with the place, and perhaps the stage, that only the other knows."""
        knows_stage = self.stage is not None or not with_stage
        return msgspec.structs.replace(
            self,
            place=self.place or other.place,
            number=self.number if self.place else other.number,
            stage=self.stage if knows_stage else other.stage,
            assumed=self.assumed if self.place else other.assumed,
        )


def first_rule(rules: tuple[Rule, ...], features: set[str]) -> tuple[tuple[str, float], ...]:
    """Return what the first fitting rule gives; nothing when none fits."""
    return next((r.gives for r in rules if r.fits(features)), ())


def parts(sense: Sense, scope: Scope) -> tuple[Part, ...]:
    """Return the parts a line may mean, the likeliest first; none when it names no part."""
    if sense.is_driver_doubtful:
        return _driver_or_stage(sense, scope)
    features = sense.rule_features() | ({"sidecue"} if scope.has_plain_front else set())
    kinds = first_rule(scope.catalog.vocabulary.kinds, features)
    real = [(kind, share) for kind, share in kinds if kind != NO_PART]
    found = [p for kind, share in real for p in _placed(kind, share, sense, scope)]
    return rank(_fitted(found, scope.car))


def code_parts(meaning: CodeMeaning, scope: Scope) -> tuple[Part, ...]:
    """Return the parts a row of a code table may mean in this car."""
    return parts(sense_of(meaning.means), scope)


def own_part(component: str, stage: int | None) -> Part:
    """Return the part that a row of the user's own table names."""
    name = split_component(component)
    return Part(kind=name.kind, place=name.place, number=name.number, stage=stage)


def rank(found: list[Part]) -> tuple[Part, ...]:
    """Return parts the likeliest first with weights that sum to one; equal ones merged."""
    merged: dict[tuple[str, str | None, int, int | None], Part] = {}
    for part in found:
        key = (part.kind, part.place, part.number, part.stage)
        weight = part.weight + (merged[key].weight if key in merged else 0.0)
        merged[key] = msgspec.structs.replace(part, weight=weight)
    total = sum(p.weight for p in merged.values())
    shares = [msgspec.structs.replace(p, weight=p.weight / total) for p in merged.values()]
    return tuple(sorted(shares, key=lambda p: -p.weight))


def _placed(kind: str, share: float, sense: Sense, scope: Scope) -> list[Part]:
    allowed = scope.catalog.kinds[kind].places
    stage = _stage(kind, sense) if scope.catalog.kinds[kind].fires else None
    found = spots(kind, sense, allowed, scope.hand)
    if not found:
        return [Part(kind=kind, stage=stage, weight=share)]
    return [
        Part(
            kind=kind,
            place=s.place,
            number=s.number,
            stage=stage if s.number == 1 else None,
            weight=share * s.weight,
            assumed=s.assumed,
        )
        for s in found
    ]


def _stage(kind: str, sense: Sense) -> int | None:
    """The stage a line names; ``airbag 2`` is a stage where a bag has several."""
    if sense.stage is not None or sense.stages:
        return sense.stage
    if kind == "front-bag" and len(sense.numbers) == 1:
        return next(iter(sense.numbers))
    return None


def _fitted(found: list[Part], car: Car | None) -> list[Part]:
    """Prefer what the car has: drop the other readings, fill a place that only one part has."""
    if car is None:
        return found
    filled = [_only_one(p, car) if p.place is None else p for p in found]
    has = [p for p in filled if p.component in car.components]
    return has or filled


def _only_one(part: Part, car: Car) -> Part:
    names = [split_component(c) for c in car.components]
    same = [n for n in names if n.kind == part.kind]
    if len(same) != 1:
        return part
    return msgspec.structs.replace(part, place=same[0].place, number=same[0].number)


def _driver_or_stage(sense: Sense, scope: Scope) -> tuple[Part, ...]:
    """``driver`` as a person's seat, or as the unit's output stage: both are kept."""
    person = msgspec.structs.replace(sense, seats={"driver"}, is_driver_doubtful=False)
    if not person.features & {"bag", "charge", "pretension", "curtain", "knee"}:
        person.features = {*person.features, "charge"}
    found = [msgspec.structs.replace(p, weight=p.weight * _DOUBT) for p in parts(person, scope)]
    unit = Part(kind="control-unit", place="centre", weight=1.0 - _DOUBT)
    return rank([*found, unit])
