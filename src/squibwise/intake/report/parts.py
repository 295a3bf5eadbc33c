"""From the features of a line, or of a code table's row, to the parts that may be meant."""

import msgspec

from squibwise.catalog.codes import CodeMeaning
from squibwise.catalog.load import Catalog
from squibwise.catalog.vocabulary import NO_PART, Rule
from squibwise.intake.report.places import Hand, spots
from squibwise.intake.report.sense import Sense, sense_of
from squibwise.model.car import Car
from squibwise.model.names import ComponentName, split_component

_DOUBT = 0.5


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
