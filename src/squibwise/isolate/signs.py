"""Signs: what the case tells, in records or in plain prose, that moves a cause up or down."""

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from functools import cache
from itertools import product

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element
from squibwise.catalog.vocabulary import DEVICE, Sign, StoryWord, plain
from squibwise.isolate.context import Context, touched_by
from squibwise.model.evidence import DoneWork, PartLabel, Reading, Story
from squibwise.model.names import ComponentName, side_of, split_component, split_loop
from squibwise.model.report import Report

_UNIT_SIDE = ("unit-plug", "unit", "supply", "ground", "bus")
_DENIED = re.compile(
    r"\b(not|never|no|nobody|nothing|none|without|neither|cannot|nie|nicht|nichts|ohne|niemand|kein\w*"
    r"|pas|jamais|sans|aucune?|rien|personne|sin|nunca|jamas|ningun\w*|nadie|\w+n't)\b"
)
_SENTENCE = re.compile(r"(?<=[.;!?])\s+|\n+|(?<=\w):\s+(?=[A-Z])| - ")
_WHEN = re.compile(r"(?i)\b(when|whenever|while|wenn|beim|quand|lorsque|cuando)\b[^,;\n]*")
_SEATS = {
    "driver": r"driver|driver's|fahrer|conducteur|conductor",
    "passenger": r"passenger|passenger's|beifahrer|passager|acompanante|copiloto|pasajero",
}
_SEAT_PART = (
    r"(side |front )?(seat|belt|buckle|bag|airbag|code|sitz|gurt|siege|ceinture|asiento|cinturon)"
)
_DENIED_BEFORE, _CLAUSE = 3, 7

Signs = dict[str, tuple[str, ...]]


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """A sign that somebody told.

    Attributes:
        sign: The catalogue's sign.
        evidence: Id of the entry that tells it.
        at: Element that it is told of; empty for the whole circuit.
    """

    sign: Sign
    evidence: str
    at: str = ""


def told_of(context: Context, catalog: Catalog) -> tuple[Told, ...]:
    """Return the signs that the owner's story and the prose of the case tell of a circuit."""
    found: dict[str, Told] = {}
    for evidence, text in _prose(context):
        late = evidence in context.reported.evidence[1:]
        for sentence in _SENTENCE.split(text):
            for sign, at in _read(sentence, context, catalog):
                if late and sign.touches:
                    continue  # what was handled since is no cause of what was read before
                found.setdefault(sign.id, Told(sign=sign, evidence=evidence, at=at))
    for story in context.case.evidence:
        if isinstance(story, Story) and _speaks_of(story, context):
            for word in (*story.comes, *story.known):
                sign = catalog.loops.signs[word]
                found[word] = Told(sign=sign, evidence=story.id, at=sign.at)
    return tuple(found.values())


def movements_of(context: Context, catalog: Catalog) -> tuple[str, ...]:
    """Return the signs told of a circuit that its fault comes with a movement of seat or wheel."""
    return tuple(t.sign.id for t in told_of(context, catalog) if t.sign.id in catalog.loops.moved)


def _speaks_of(story: Story, context: Context) -> bool:
    return story.loop is None or split_loop(story.loop) == split_loop(context.loop)


def _prose(context: Context) -> Iterator[tuple[str, str]]:
    """Yield what is told in sentences: the title, stories, and what a report says beside codes."""
    yield "", context.case.title
    for item in context.case.evidence:
        if isinstance(item, Story) and _speaks_of(item, context):
            yield item.id, item.text
        elif isinstance(item, Report) and _may_tell(item, context):
            for line in item.reading.unread:
                yield item.id, line.raw
            for code in item.reading.lines:
                if code.component == context.name.id and (when := _WHEN.search(code.raw)):
                    yield item.id, when.group()


def _may_tell(report: Report, context: Context) -> bool:
    """Return whether the prose of a report may speak of the circuit: it names it, or none does."""
    return report.id in context.reported.evidence or not context.reported.is_told


def _read(sentence: str, context: Context, catalog: Catalog) -> Iterator[tuple[Sign, str]]:
    """Yield the signs that one sentence tells plainly, each with the element it is told of."""
    text = plain(sentence)
    if not text or _of_another(text, context):
        return
    found = _Found(text=text, context=context, catalog=catalog)
    for sign in catalog.loops.signs.values():
        if any(found.spans(w) for w in sign.unless):
            continue
        told = [found.near(rule.split(), sign.reach) for rule in sign.tells]
        told += [m.span() for p in sign.phrases if (m := re.search(p, text))]
        if any(at and (sign.negative or not _is_denied(text, at)) for at in told):
            yield sign, _connector_named(found, context) if sign.placed else sign.at


_CONNECTORS = {
    "coil-device": "column-plug",
    "seat": "seat-plug",
    "door": "jamb-plug",
    "unit": "unit-plug",
    "console": "unit-plug",
}


def _connector_named(found: "_Found", context: Context) -> str:
    """Return the connector of the circuit that a sentence names; empty when it names none."""
    elements = {e.id for e in context.chain.element}
    named = [p for word, p in _CONNECTORS.items() if p in elements and found.spans(word)]
    return named[0] if len(named) == 1 else ""


class _Found:
    """Where the words of the catalogue stand in one sentence. A class because each is found once.

    Args:
        text: The sentence, plain.
        context: What the case knows of the circuit, for the words of its device.
        catalog: The words.
    """

    def __init__(self, text: str, context: Context, catalog: Catalog) -> None:
        self.text, self.words = text, catalog.loops.words
        self.device = [w.id for w in self.words.values() if context.name.kind in w.kinds]
        self.known: dict[str, list[tuple[int, int]]] = {}

    def spans(self, word: str) -> list[tuple[int, int]]:
        """Return where a word, or the circuit's device, is named."""
        if word == DEVICE:
            return [at for each in self.device for at in self.spans(each)]
        if word not in self.known:
            known = self.words[word]
            told = any(piece in self.text for piece in _pieces(known))
            found = _pattern(known).finditer(self.text) if told else ()
            self.known[word] = [m.span() for m in found]
        return self.known[word]

    def near(self, words: list[str], reach: int) -> tuple[int, int] | None:
        """Return the shortest piece of the sentence that names all of the words, if close."""
        pieces = (
            (min(a for a, _ in at), max(b for _, b in at))
            for at in product(*(self.spans(w) for w in words))
        )
        close = (p for p in pieces if self._is_close(p, reach))
        return min(close, key=lambda p: p[1] - p[0], default=None)

    def _is_close(self, piece: tuple[int, int], reach: int) -> bool:
        """Return whether words stand within reach; a near one reaches into no other clause."""
        clause = reach > _CLAUSE or "," not in self.text[slice(*piece)]
        return clause and self.text.count(" ", *piece) <= reach


@cache
def _pattern(word: StoryWord) -> re.Pattern[str]:
    return word.pattern()


@cache
def _pieces(word: StoryWord) -> frozenset[str]:
    """Return letters of which some must stand in a text that names a word: no pattern is made."""
    texts = f"{word.en} {word.de} {word.fr} {word.es}".split()
    return frozenset(max(re.split(r"[*_]", text), key=len) for text in texts)


def _of_another(text: str, context: Context) -> bool:
    """Return whether a sentence names a seat other than the circuit's own, and not its own."""
    own = _SEATS.get(context.name.place)
    if own is None:
        return False
    others = [w for w in _SEATS.values() if w != own]
    return any(_names_seat(w, text) for w in others) and not _names_seat(own, text)


def _names_seat(word: str, text: str) -> bool:
    return any(
        re.search(pattern, text)
        for pattern in (
            rf"\b({word})( \(\w+\))? {_SEAT_PART}",
            rf"\b{_SEAT_PART}s? (du |del |de la |des )?({word})\b",
            rf"\b({word})(sitz|gurt|airbag)",
        )
    )


def _is_denied(text: str, at: tuple[int, int]) -> bool:
    """Return whether what a piece of a sentence tells is denied in it or just before it."""
    before = text[: at[0]].rpartition(",")[2].split()[-_DENIED_BEFORE:]
    return _DENIED.search(f"{' '.join(before)} {text[at[0] : at[1]]}") is not None


def signs_of(element: Element, context: Context, told: Iterable[Told], catalog: Catalog) -> Signs:
    """Return every sign that speaks of an element, with the evidence it rests on."""
    told = tuple(told)
    found: Signs = {
        t.sign.id: (t.evidence,) if t.evidence else ()
        for t in told
        if not t.sign.touches and t.at in ("", element.id)
    }
    found |= _of_work(element, context, told, catalog)
    found |= _of_reports(element, context, catalog)
    found |= _of_neighbours(element, context, catalog)
    found |= _of_the_part(element, context, catalog)
    if "worked" in found:
        found.pop("untouched", None)
    else:
        found.pop("rough", None)
    return found


def _of_work(element: Element, context: Context, told: tuple[Told, ...], catalog: Catalog) -> Signs:
    """Return what was worked on before the fault was read, and what was tried against it."""
    found: Signs = {}
    handled = tuple(
        t.evidence for t in told if t.sign.touches and set(t.sign.touches) & set(element.touched)
    )
    tried = _tried(context)
    seated = {w.id for w in tried if w.what == "reseated"}
    worked = [i for i in context.worked.get(element.id, ()) if i not in seated]
    ids = (*worked, *(i for i in handled if i))
    if ids or handled:
        found["worked"] = ids
    elif context.worked:
        found["other-handled"] = tuple(dict.fromkeys(i for w in context.worked.values() for i in w))
    elif context.reported.report is None or context.reported.report.when != "after-repair":
        found["not-handled"] = ()
    for work in tried:
        if element.id not in touched_by(context.chain, context.name, [work], catalog):
            continue
        word = {"reseated": "seated-again", "repaired": "did-not-hold"}.get(work.what)
        if word and (element.role == "plug" or word == "did-not-hold"):
            found[word] = (*found.get(word, ()), work.id)
    if context.unverified:
        found["worked-since"] = context.unverified
    return found | _of_new_parts(element, context)


def _tried(context: Context) -> list[DoneWork]:
    """Return the work done against the fault: after it was first read, before it was read again.

    With one report only, it is what was seated again before the codes were cleared for it, where
    nothing had been taken apart.
    """
    first, last = context.reported.first, context.reported.report
    if first is None or last is None:
        return []
    place = context.position
    if first is not last:
        return [w for w in context.works if place(first.id) < place(w.id) < place(last.id)]
    before = [w for w in context.works if place(w.id) < place(last.id)]
    apart = {w.component for w in before if w.what in ("disconnected", "replaced")}
    cleared = [place(i) for i in context.cleared if place(i) < place(last.id)]
    return [
        w
        for w in before
        if w.what == "reseated"
        and w.component not in apart
        and any(place(w.id) < c for c in cleared)
    ]


def _of_new_parts(element: Element, context: Context) -> Signs:
    """Return whether the element, or the circuit's device, was renewed, and to what effect."""
    found: Signs = {}
    tried = {w.id for w in _tried(context)}
    last = context.reported.report
    for work in context.works:
        if work.what != "replaced" or "." not in work.component:
            continue
        other = split_component(work.component)
        own = other == context.name if element.role == "device" else other.kind == element.kind
        if work.id in tried and (
            own or (element.role in ("plug", "segment") and other == context.name)
        ):
            found["new-no-effect"] = (work.id,)
        elif own and (last is None or context.position(work.id) < context.position(last.id)):
            found["new"] = (work.id,)
    return found


def _of_reports(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return how the fault is reported: coming and going, remembered, with what supply."""
    reported = context.reported
    ids = reported.evidence[-1:]
    holds = {
        "coming": reported.comes_and_goes,
        "steady": "present" in reported.statuses and not reported.comes_and_goes,
        "stored": reported.stored_only and not reported.comes_and_goes,
        "clean-since": bool(reported.gone_since),
        "old": _is_old(context, catalog),
        "supply-out": voltage_out(context, catalog),
        "load-out": element.id == "load" and bool(context.load_before),
        "crash": context.near_crash,
    }
    found = {sign: ids for sign, on in holds.items() if on}
    if "load-out" in found:
        found["load-out"] = context.load_before
    return found | _of_live_values(context, catalog)


def voltage_out(context: Context, catalog: Catalog) -> bool:
    """Return whether the supply was out of range when the fault was read."""
    report = context.reported.report
    volts = report.reading.coverage.unit_volts if report else None
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    return volts is not None and not low <= volts <= high


def _is_old(context: Context, catalog: Catalog) -> bool:
    times = [e.time for e in context.case.evidence if isinstance(e.time, dt.datetime)]
    year = context.case.car.model_year
    if year is None or not times:
        return False
    return max(times).year - year >= catalog.fact("isolation.old-car-years").number()


def _of_live_values(context: Context, catalog: Catalog) -> Signs:
    """Return what the newest live resistance of this circuit says."""
    readings = [
        e
        for e in context.case.evidence
        if isinstance(e, Reading)
        and split_loop(e.component) == split_loop(context.loop)
        and (e.quantity, e.method, e.unit) == ("loop-resistance", "scan-live-value", "ohm")
    ]
    last = context.reported.report
    if (
        not readings
        or last is None
        or context.position(readings[-1].id) < context.position(last.id)
    ):
        return {}
    value, ids = readings[-1].value, (readings[-1].id,)
    low, high = (catalog.fact(f"loop.{end}-widest").number() for end in ("low", "high"))
    if low <= value <= high:
        return {} if "present" in context.reported.statuses else {"reads-right": ids}
    if value <= catalog.fact("isolation.bridge").number():
        return {"reads-bridged": ids}
    half = catalog.fact("load.ohm").number() / 2.0
    span = catalog.fact("isolation.side-by-side").number()
    return {"reads-low": ids} if abs(value - half) <= span else {}


def _of_neighbours(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return what other circuits at fault, or the lack of them, say of an element."""
    report = context.reported.report
    if report is None:
        return {}
    ids, found = (report.id,), Signs()
    through = _shared(context, catalog)
    alike = bool(context.faulty) and _same_status(context)
    if element.id in through:
        found["shared"] = ids
        if through[element.id] > 1:
            found["shared-many"] = ids
    elif alike and element.role != "whole":
        found["not-shared"] = ids
    if alike and not _nearer_explains(through, context):
        found["unlike-circuits"] = ids
    if not context.faulty:
        found |= _alone(element, context, report)
    return found


def _alone(element: Element, context: Context, report: Report) -> Signs:
    """Return what it says that no other circuit is at fault."""
    ids = (report.id,)
    found: Signs = {}
    if element.id in _UNIT_SIDE and report.reading.coverage.complete:
        found["alone"] = ids
    told = any(
        line.component == context.name.id and line.stage == context.stage
        for line in report.reading.lines
    )
    if told and context.case.car.stages.get(context.name.id, 1) > 1:
        own = element.role == "device" or element.id == "device-plug"
        if own or element.role in ("coil", "plug"):
            found["one-stage-own" if own else "one-stage"] = ids
    return found


def _same_status(context: Context) -> bool:
    """Return whether the circuits at fault together are so in the same way, as one cause is."""
    names = {context.name.id, *(c for c, _ in context.faulty)}
    reports = [e for e in context.case.evidence if isinstance(e, Report)]
    told = [r for r in reports if r.id in context.reported.evidence]
    lines = [x for r in told[-1:] for x in r.reading.lines]
    if context.reported.comes_and_goes:
        lines = [x for r in told for x in r.reading.lines]
    return len({frozenset(x.status) for x in lines if x.component in names}) == 1


def _nearer_explains(through: dict[str, int], context: Context) -> bool:
    """Return whether a joint nearer than the control unit carries all the circuits at fault.

    A harness that they share does not: wires of several circuits seldom break together.
    """
    joints = {e.id for e in context.chain.element if e.role != "segment"} - set(_UNIT_SIDE)
    return max((through.get(i, 0) for i in joints), default=0) == len(context.faulty)


def _shared(context: Context, catalog: Catalog) -> dict[str, int]:
    """Return how many other circuits at fault run through each element.

    What only the control unit shares counts when no joint nearer to the device carries them all.
    """
    counts = {
        e.id: sum(_runs_through(e, c, context, catalog) for c, _ in context.faulty)
        for e in context.chain.element
    }
    near = max((n for i, n in counts.items() if i not in _UNIT_SIDE), default=0)
    wide = not _nearer_explains(counts, context)
    return {i: n for i, n in counts.items() if n and (wide if i in _UNIT_SIDE else n == near)}


def _runs_through(element: Element, other: str, context: Context, catalog: Catalog) -> bool:
    """Return whether another component's circuit runs through an element of this one."""
    if element.id in _UNIT_SIDE:
        return True
    own, name = context.name, split_component(other)
    if element.role == "segment" and element.id != "seat-harness":
        return _same_run(own, name, context, catalog)
    twin = other == own.id
    mates = name.place == own.place and _plug(name.kind, catalog) == _plug(own.kind, catalog)
    wheel = {
        "device": twin,
        "clock-spring": twin or (mates and own.place == "driver"),
        "column-plug": twin or (mates and own.place == "driver"),
        "device-plug": twin,
        "seat-plug": twin or mates,
        "jamb-plug": twin or mates,
    }
    return wheel.get(element.id, False)


def _same_run(own: ComponentName, other: ComponentName, context: Context, catalog: Catalog) -> bool:
    """Return whether the wires of two components run in one harness: of a sill, or of the nose."""
    if "nose" in (own.place.split("-")[0], other.place.split("-")[0]):
        return own.place.split("-")[0] == other.place.split("-")[0]
    inside = {_plug(n.kind, catalog) for n in (own, other)} & {"dash", "wheel", "unit", "none"}
    sides = [side_of(n.place, context.case.car.drive_hand) for n in (own, other)]
    return own != other and not inside and sides[0] is not None and sides[0] == sides[1]


def _plug(kind: str, catalog: Catalog) -> str:
    return catalog.kinds[kind].plug if kind in catalog.kinds else "none"


def _of_the_part(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return what the label on the device says."""
    if element.role != "device":
        return {}
    labels = [
        e
        for e in context.case.evidence
        if isinstance(e, PartLabel) and e.component == context.name.id
    ]
    year = context.case.car.model_year
    if labels and _is_donor(labels[-1], year, catalog):
        return {"donor": (labels[-1].id,)}
    return {}


def _is_donor(label: PartLabel, year: int | None, catalog: Catalog) -> bool:
    made = re.match(r"\d{4}", label.made_on)
    apart = catalog.fact("isolation.label-years").number()
    other_time = made is not None and year is not None and abs(int(made[0]) - year) > apart
    return other_time or label.provenance in ("donor", "recycled", "repaired")
