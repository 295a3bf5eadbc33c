"""From what words name, or a code table's row, to the parts that may be meant and their places."""

import msgspec

from squibwise.catalog.codes import CodeMeaning
from squibwise.catalog.load import Catalog
from squibwise.catalog.vocabulary import NO_PART, Rule
from squibwise.intake.report.language.words import Words, words_of_row
from squibwise.model.car import Car
from squibwise.model.names import SEATS, SIDES, ComponentName, Side, side_of, split_component

_DOUBT = 0.5
Shares = dict[str, dict[str, float]]
ZONES = ("door", "pillarc", "pillar")  # what tells where a sensor at the side sits
CENTRAL = ("wiring", "roll-bar")  # taken to sit in the middle where a line names no side


class Hand(msgspec.Struct, frozen=True, kw_only=True):
    """On which side the driver sits.

    Attributes:
        side: Left or right.
        is_known: False when nobody stated it.
    """

    side: Side
    is_known: bool


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


class Candidate(msgspec.Struct, frozen=True, kw_only=True):
    """One part that a line may mean.

    Attributes:
        kind: Component kind; empty for any.
        place: None when the line does not tell.
        number: 2 when it is the second of its kind there.
        stage: Stage of its circuit; None when not told.
        weight: Share of belief.
        assumed: It rests on an assumed drive hand.
    """

    kind: str = ""
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

    def agrees(self, other: "Candidate") -> bool:
        """Tell whether both may be the same part."""
        places = self.place is None or other.place is None or self.place == other.place
        return self.kind == other.kind and places

    def filled(self, other: "Candidate", with_stage: bool) -> "Candidate":
        """Return this part with the place, and perhaps the stage, that only the other knows."""
        knows_stage = self.stage is not None or not with_stage
        return msgspec.structs.replace(
            self,
            place=self.place or other.place,
            number=self.number if self.place else other.number,
            stage=self.stage if knows_stage else other.stage,
            assumed=self.assumed if self.place else other.assumed,
        )


def spots(kind: str, words: Words, scope: Scope) -> tuple[Candidate, ...]:
    """Return where a part of this kind may sit; none when the line does not tell.

    Args:
        kind: Component kind.
        words: What the line says.
        scope: On which side the driver sits; the catalogue's places and shares of them.
    """
    allowed, hand = scope.catalog.kinds[kind].places, scope.hand
    shares = scope.catalog.place_shares
    if len(allowed) == 1:
        return (Candidate(place=allowed[0]),)
    if kind == "impact-sensor":
        found = _sensor_spots(words, hand, shares)
    elif all(p in SIDES for p in allowed):
        found = _side_spots(words, hand)
    elif any(p in SEATS for p in allowed):
        found = _seat_spots(kind, words, hand, shares)
    else:
        found = _zone_spots(kind, words, hand, allowed)
    fitting = tuple(s for s in found if s.place in allowed and s.weight > 0.0)
    if not fitting and (kind in CENTRAL or len(words.sides & {"left", "right"}) == 1):
        fitting = _zone_spots(kind, words, hand, allowed)  # a roll bar sits behind the front seats
    total = sum(s.weight for s in fitting)
    return tuple(msgspec.structs.replace(s, weight=s.weight / total) for s in fitting)


def row_of(words: Words) -> int | None:
    """Return the row of seats a line speaks of; None when it does not tell."""
    if len(words.rows) == 1:
        return next(iter(words.rows))
    if words.ends == {"rear"}:
        return 2
    return 1 if words.ends == {"front"} else None


def car_sides(words: Words, hand: Hand) -> tuple[tuple[Side, float, bool], ...]:
    """Return the car's sides a line speaks of, with share and whether a hand was assumed."""
    named: list[Side] = [s for s in ("left", "right") if s in words.sides]
    by_seat = [side_of(seat, hand.side) for seat in sorted(words.seats)]
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


def _seat_spots(kind: str, words: Words, hand: Hand, shares: Shares) -> tuple[Candidate, ...]:
    row = row_of(words)
    if kind == "occupant-sensor" and words.sides and len(words.seats) == 1:
        return (Candidate(place=next(iter(words.seats))),)  # the side is a corner of that seat
    behind = [row] if row is not None else sorted(words.rows)  # "last row": the second or third
    if behind and 1 not in behind:
        return tuple(spot for r in behind for spot in _rear_spots(words, hand, r))
    if words.seats:
        return _front_by_seat(words, hand)
    if "centre" in words.sides and kind != "centre-bag":
        return (Candidate(place="row2-centre"),) if row is None else ()
    found = []
    for side, weight, _ in car_sides(words, hand):
        seat = "driver" if side == hand.side else "passenger"
        found.append(Candidate(place=seat, weight=weight, assumed=not hand.is_known))
    if not found:
        return _usual_seat(kind, shares)
    return tuple(found)


def _front_by_seat(words: Words, hand: Hand) -> tuple[Candidate, ...]:
    if len(words.seats) == 2:
        return tuple(Candidate(place=s, weight=0.5) for s in sorted(words.seats))
    seat = next(iter(words.seats))
    sides = {s for s in ("left", "right") if s in words.sides}
    if hand.is_known and len(sides) == 1 and side_of(seat, hand.side) not in sides:
        other = "passenger" if seat == "driver" else "driver"
        return (Candidate(place=seat, weight=0.5), Candidate(place=other, weight=0.5))
    return (Candidate(place=seat),)


def _rear_spots(words: Words, hand: Hand, row: int) -> tuple[Candidate, ...]:
    if "centre" in words.sides and not words.sides & {"left", "right"}:
        return (Candidate(place=f"row{row}-centre"),)
    named = words.sides & {"left", "right"}
    sides = tuple((s, 1.0 / len(named), False) for s in sorted(named))
    if not named and ("byside" in words.features or "driver" in words.seats):
        sides = car_sides(words, hand)
    sides = sides or tuple((s, 0.5, False) for s in ("left", "right"))  # the row alone is told
    return tuple(Candidate(place=f"row{row}-{s}", weight=w, assumed=a) for s, w, a in sides)


def _usual_seat(kind: str, shares: Shares) -> tuple[Candidate, ...]:
    """Where the only such part of a car usually sits. Common practice, no source."""
    if kind == "occupant-sensor":
        return (Candidate(place="passenger"),)
    if kind == "centre-bag":
        return _at_places(shares["centre-bag"])
    return ()


def _at_places(shares: dict[str, float]) -> tuple[Candidate, ...]:
    return tuple(Candidate(place=place, weight=share) for place, share in shares.items())


def _side_spots(words: Words, hand: Hand) -> tuple[Candidate, ...]:
    number = 2 if 2 in words.numbers or 2 in words.stages else 1
    sides = car_sides(words, hand)
    return tuple(Candidate(place=s, weight=w, assumed=a, number=number) for s, w, a in sides)


def _sensor_spots(words: Words, hand: Hand, shares: Shares) -> tuple[Candidate, ...]:
    sides = car_sides(words, hand)
    exact = next((z for z in ZONES if z in words.features), None)
    if exact is not None:
        zone, number = ("pillar", 2) if exact == "pillarc" else (exact, 1)
        if zone == "door" and row_of(words) == 2:
            number = 2
        return tuple(
            Candidate(place=f"{zone}-{s}", number=number, weight=w, assumed=a) for s, w, a in sides
        )
    is_side = "side" in words.features or ("byside" in words.features and "front" not in words.ends)
    if is_side:
        return _by_zone(sides, shares["sensor-at-the-side"])
    if "centre" in words.sides:
        zones = [z for end, z in (("rear", "tail"), ("front", "nose-centre")) if end in words.ends]
        return _at_places({zones[0]: 1.0} if zones else shares["sensor-in-the-middle"])
    if "front" in words.ends:
        return _by_zone(sides, {"nose": 1.0}) or _at_places(shares["sensor-at-the-front"])
    if "rear" in words.ends:
        rear = shares["sensor-at-the-rear"]
        tail = Candidate(place="tail", weight=rear["tail"])
        return (*_by_zone(sides, {"pillar": rear["pillar"]}, number=2), tail)
    return _by_zone(sides, shares["sensor"])


def _by_zone(
    sides: tuple[tuple[Side, float, bool], ...], zones: dict[str, float], number: int = 1
) -> tuple[Candidate, ...]:
    return tuple(
        Candidate(place=f"{zone}-{side}", number=number, weight=weight * share, assumed=assumed)
        for side, weight, assumed in sides
        for zone, share in zones.items()
    )


def _zone_spots(
    kind: str, words: Words, hand: Hand, allowed: tuple[str, ...]
) -> tuple[Candidate, ...]:
    sides = car_sides(words, hand)
    found = tuple(
        Candidate(place=p, weight=w, assumed=a)
        for side, w, a in sides
        for p in allowed
        if side_of(p, hand.side) == side
    )
    if not found and kind in CENTRAL:
        return (Candidate(place="centre"),)
    return found


def first_rule(rules: tuple[Rule, ...], features: set[str]) -> tuple[tuple[str, float], ...]:
    """Return what the first fitting rule gives; nothing when none fits."""
    return next((r.gives for r in rules if r.fits(features)), ())


def candidates_of(words: Words, scope: Scope) -> tuple[Candidate, ...]:
    """Return the parts a line may mean, the likeliest first; none when it names no part."""
    if words.is_driver_doubtful:
        return _driver_or_stage(words, scope)
    features = words.rule_features() | ({"sidecue"} if scope.has_plain_front else set())
    kinds = first_rule(scope.catalog.vocabulary.kinds, features)
    real = [(kind, share) for kind, share in kinds if kind != NO_PART]
    found = [p for kind, share in real for p in _placed(kind, share, words, scope)]
    return rank(_fitted(found, scope.car))


def candidates_of_row(meaning: CodeMeaning, scope: Scope) -> tuple[Candidate, ...]:
    """Return the parts a row of a code table may mean in this car."""
    return candidates_of(words_of_row(meaning.means), scope)


def own_candidate(component: str, stage: int | None) -> Candidate:
    """Return the part that a row of the user's own table names."""
    name = split_component(component)
    return Candidate(kind=name.kind, place=name.place, number=name.number, stage=stage)


def rank(found: list[Candidate]) -> tuple[Candidate, ...]:
    """Return parts the likeliest first with weights that sum to one; equal ones merged."""
    merged: dict[tuple[str, str | None, int, int | None], Candidate] = {}
    for part in found:
        key = (part.kind, part.place, part.number, part.stage)
        weight = part.weight + (merged[key].weight if key in merged else 0.0)
        merged[key] = msgspec.structs.replace(part, weight=weight)
    total = sum(p.weight for p in merged.values())
    shares = [msgspec.structs.replace(p, weight=p.weight / total) for p in merged.values()]
    return tuple(sorted(shares, key=lambda p: -p.weight))


def _placed(kind: str, share: float, words: Words, scope: Scope) -> list[Candidate]:
    stage = _stage(kind, words) if scope.catalog.kinds[kind].fires else None
    found = spots(kind, words, scope) or (Candidate(),)
    return [
        msgspec.structs.replace(
            s, kind=kind, weight=share * s.weight, stage=stage if s.number == 1 else None
        )
        for s in found
    ]


def _stage(kind: str, words: Words) -> int | None:
    """The stage a line names; ``airbag 2`` is a stage where a bag has several."""
    if words.stage is not None or words.stages:
        return words.stage
    if kind == "front-bag" and len(words.numbers) == 1:
        return next(iter(words.numbers))
    return None


def _fitted(found: list[Candidate], car: Car | None) -> list[Candidate]:
    """Prefer what the car has: drop the other readings, fill a place that only one part has."""
    if car is None:
        return found
    filled = [_only_one(p, car) if p.place is None else p for p in found]
    has = [p for p in filled if p.component in car.components]
    return has or filled


def _only_one(part: Candidate, car: Car) -> Candidate:
    names = [split_component(c) for c in car.components]
    same = [n for n in names if n.kind == part.kind]
    if len(same) != 1:
        return part
    return msgspec.structs.replace(part, place=same[0].place, number=same[0].number)


def _driver_or_stage(words: Words, scope: Scope) -> tuple[Candidate, ...]:
    """``driver`` as a person's seat, or as the unit's output stage: both are kept."""
    person = msgspec.structs.replace(words, seats={"driver"}, is_driver_doubtful=False)
    if not person.features & {"bag", "charge", "pretension", "curtain", "knee"}:
        person.features = {*person.features, "charge"}
    found = [
        msgspec.structs.replace(p, weight=p.weight * _DOUBT) for p in candidates_of(person, scope)
    ]
    unit = Candidate(kind="control-unit", place="centre", weight=1.0 - _DOUBT)
    return rank([*found, unit])
