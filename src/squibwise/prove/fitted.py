"""Verdicts on what was put into the car: substitute loads, and parts by their labels."""

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from squibwise.catalog.components import check_digit
from squibwise.catalog.load import Catalog, holds_charge
from squibwise.history.order import History, read_history, replacements
from squibwise.history.signed import ORIGINAL, labelled, loads_left
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import PartLabel, SubstituteLoad
from squibwise.model.names import SEATS, Side, side_of, split_component, split_loop
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome
from squibwise.prove.limits import because_of, published

Judged = tuple[Outcome, str, str]

USED = ("recycled", "donor", "repaired")


def load_verdicts(history: History, catalog: Catalog) -> list[Verdict]:
    """Return a verdict on every substitute load by its mark."""
    by_serial: dict[str, list[SubstituteLoad]] = {}
    for _, move in history.all_of(SubstituteLoad):
        by_serial.setdefault(move.serial, []).append(move)
    return [_load(serial, moves, history, catalog) for serial, moves in by_serial.items()]


def _load(serial: str, moves: list[SubstituteLoad], history: History, catalog: Catalog) -> Verdict:
    outcome, text, remedy = _judge_load(moves, history, catalog)
    window = published(catalog, "load.low", "load.high", "published")
    return Verdict(
        what=f"load:{serial}",
        outcome=outcome,
        text=f"Load {serial.removeprefix('load ')}: {text}",
        decide=remedy,
        because=because_of(window.facts, tuple(m.id for m in moves)),
        origin=moves[-1].origin,
    )


def _judge_load(moves: list[SubstituteLoad], history: History, catalog: Catalog) -> Judged:
    issued = [m for m in moves if m.move == "issued"]
    left = loads_left(moves)
    if left:
        loops = ", ".join(m.loop for m in left)
        return "not met", f"issued to {loops} and not returned.", _RETURN
    if not issued:
        return "undecided", "returned, but never issued in this record.", _ISSUE
    if not all(holds_charge(m.loop, catalog) for m in issued):
        return "not met", f"fitted to {issued[-1].loop}, which is no igniter loop.", _WHERE
    return _judge_ohm(moves, issued[-1], history, catalog)


def _judge_ohm(
    moves: list[SubstituteLoad], issued: SubstituteLoad, history: History, catalog: Catalog
) -> Judged:
    ohm = next((m.ohm for m in reversed(moves) if m.ohm is not None), None)
    if ohm is None:
        return "undecided", "returned; its resistance is not written down.", _MEASURE
    if _in_window(ohm, catalog):
        return "met", f"{ohm:g} ohm, issued to {issued.loop} and returned.", ""
    if _redone(issued, history, catalog):
        return "met", f"{ohm:g} ohm was out of range; the test was done again with another.", ""
    return "undecided", f"returned; {ohm:g} ohm is outside the range for tests.", _AGAIN


_RETURN = "Take it out with the power off and record it as returned."
_ISSUE = "Record when and where it was issued, or strike the entry."
_WHERE = "Check the circuit it was fitted to and read a complete scan."
_MEASURE = "Measure the load by itself and write its resistance down."
_AGAIN = "Repeat the tests made with it with a load inside the range."


def _in_window(ohm: float, catalog: Catalog) -> bool:
    low, high = catalog.fact("load.low").number(), catalog.fact("load.high").number()
    return low <= ohm <= high


def _redone(bad: SubstituteLoad, history: History, catalog: Catalog) -> bool:
    """Return whether a load inside the range was on the same loop later."""
    place = history.place_of(bad.id)
    return any(
        n > place
        and e.serial != bad.serial
        and split_loop(e.loop) == split_loop(bad.loop)
        and e.ohm is not None
        and _in_window(e.ohm, catalog)
        for n, e in history.all_of(SubstituteLoad)
    )


def label_verdicts(
    history: History, catalog: Catalog, vin: str | None = None, hand: Side = "left"
) -> list[Verdict]:
    """Return verdicts on number, origin and recall of every part that has a label.

    Args:
        history: The course of events.
        catalog: Kinds of components, and the rules of the identification number.
        vin: Of the car; None = not known.
        hand: The side that its driver sits on.
    """
    labels = labelled(history)
    twice = _serials_twice(labels, catalog)
    found = []
    for label in labels:
        fires = holds_charge(label.component, catalog)
        is_plain = _is_plain(label.component, catalog)
        judged = _judge_origin(label, fires, twice, catalog, is_plain=is_plain)
        if judged[0] == "met":
            judged = _judge_against(label, labels, history, catalog) or judged
        if judged[0] == "met":
            judged = _judge_words(label, hand, catalog) or judged
        if judged[0] == "met":
            judged = _judge_donor(label, vin, catalog) or judged
        found.append(_label("label", label, judged, catalog))
        recall = None if is_plain else _judge_recall(label, fires)
        found += [_label("recall", label, recall, catalog)] if recall else []
    return found


def tell_labels(
    entries: Sequence[Mapping[str, Any]], case: Case, catalog: Catalog
) -> tuple[str, ...]:
    """Return what speaks against labels as they are entered, and what to do about each.

    Args:
        entries: The labels, not of the case yet.
        case: The car they are for.
        catalog: Kinds of components.
    """
    labels = [
        PartLabel(id=f"new-{n}", **{k: v for k, v in entry.items() if k != "kind"})
        for n, entry in enumerate(entries)
        if entry["component"] in case.car.components
    ]
    history = read_history((*case.evidence, *labels))
    own = {x.component for x in labels}
    found = label_verdicts(history, catalog, case.car.vin, case.car.drive_hand)
    told = [
        f"{v.text} {v.decide}"
        for v in found
        if v.outcome != "met" and v.what.partition(":")[2] in own
    ]
    every = labelled(history)
    told += [
        f"part {label.number.strip()} stands on {' and '.join(sorted(mates))}: most makers give "
        "each side its own number. Read both labels again."
        for label in {_letters(x.number): x for x in labels}.values()
        if len(mates := _on_both_sides(label, every, catalog)) > 1
    ]
    return tuple(told)


def _on_both_sides(
    label: PartLabel, labels: Sequence[PartLabel], catalog: Catalog
) -> tuple[str, ...]:
    """Return the airbags, or the belts, of one kind that carry one number.

    That each side has its own is common practice, no source; sensors and trims often share one.
    """
    kind, number = split_component(label.component).kind, _letters(label.number)
    if not (number and holds_charge(label.component, catalog)):
        return ()
    return tuple(
        x.component
        for x in labels
        if split_component(x.component).kind == kind and _letters(x.number) == number
    )


def _is_plain(component: str, catalog: Catalog) -> bool:
    """Is it a body part, such as a panel or a trim: no circuit, and rarely refused when used."""
    word = split_component(component).kind
    kind = catalog.kinds.get(word)
    if kind is None or kind.circuit or kind.fires:
        return False
    sold = [a for a in catalog.assemblies.values() if word in a.key and not a.instead]
    return any(a.used_refused.startswith("rarely") and not a.live for a in sold)


def _label(word: str, label: PartLabel, judged: Judged, catalog: Catalog) -> Verdict:
    outcome, text, remedy = judged
    caution = catalog.cautions["provenance"]
    return Verdict(
        what=f"{word}:{label.component}",
        outcome=outcome,
        text=f"{label.component}: {text}",
        decide=remedy,
        because=(Because(text=caution.text, evidence=(label.id,), sources=(caution.source,)),),
        origin=label.origin,
    )


def _serials_twice(labels: tuple[PartLabel, ...], catalog: Catalog) -> set[tuple[str, str]]:
    """Return part and serial numbers that stand on more than one component.

    A long serial number is taken for one of a kind, whatever number stands beside it.
    """
    marks = [_mark(x) for x in labels if _letters(x.serial)]
    serials = [serial for _, serial in marks]
    long = catalog.fact("label.long-serial").number()
    return {
        (number, serial)
        for number, serial in marks
        if marks.count((number, serial)) > 1 or (len(serial) >= long and serials.count(serial) > 1)
    }


def _mark(label: PartLabel) -> tuple[str, str]:
    return _alike(label.number), _alike(label.serial)


def _alike(text: str) -> str:
    """Return a number as an eye reads it: O is as good as 0, I as 1, leading zeros are none."""
    same = _SERIAL_HEAD.sub("", _letters(text)).replace("O", "0").replace("I", "1")
    return re.sub(r"(?<!\d)0+(?=\d)", "", same)


_SERIAL_HEAD = re.compile(r"^(?:SERIALNO|SERIAL|SNR|SN)(?=[A-Z]?\d)")  # "SN S7117" is "S7117"


def _letters(text: str) -> str:
    """Return letters and digits alone: how a number is broken up says nothing."""
    return "".join(c for c in unicodedata.normalize("NFKC", text).upper() if c.isalnum())


def _judge_against(
    label: PartLabel, labels: tuple[PartLabel, ...], history: History, catalog: Catalog
) -> Judged | None:
    """Return what speaks against a label: a number of two kinds of part, a day that cannot be."""
    number = label.number.strip()
    same = [x.component for x in labels if _letters(x.number) == _letters(number)]
    kinds = {split_component(c).kind for c in same}
    if number and len(kinds) > 1:
        text = f"part {number} is said to be {' and '.join(sorted(kinds))}."
        return "undecided", text, "Read the label of each again; one number is one kind of part."
    sold = [told for c in same if (told := _sold_as(c, catalog))]
    if number and any(not sold[0] & other for other in sold[1:]):
        text = f"part {number} stands on {' and '.join(sorted(same))}, which are two parts."
        return "undecided", text, "Read the label of each again; one number is one part."
    if _letters(label.serial) and _mark(label) in _list_gone(history):
        text = f"part {number}: serial {label.serial} is that of a part that came out of this car."
        return "not met", text, "Read the label of the part that was fitted; an old one is no new."
    return _judge_day(label, history, catalog)


def _judge_words(label: PartLabel, hand: Side, catalog: Catalog) -> Judged | None:
    """Return what number and serial say that cannot be of this part: strange letters, a side."""
    written = f"{label.number} {label.serial}"
    strange = {c for c in written if c.isalnum() and not _is_latin(c)}
    if strange:
        names = ", ".join(sorted(unicodedata.name(c, "no name").lower() for c in strange))
        text = f"part {label.number}, serial {label.serial}, is written with {names}."
        remedy = f"Write it in Latin letters, or record passed 'label:{label.component}' with why."
        return "undecided", text, remedy
    if _is_no_number(label.number, catalog):
        return "undecided", f"'{label.number}' is no part number.", "Read it off the label."
    words = set(re.findall(r"[^\W\d_]+", f"{written} {label.seller or ''}".lower()))
    if words & {*catalog.said.stories["stand_in"]}:
        text = f"part {label.number}{_sold(label)}: its label names a load or a dummy, no part."
        remedy = f"Fit the part; if it is one, record passed 'label:{label.component}' with why."
        return "undecided", text, remedy
    place = split_component(label.component).place
    said = [m for word in re.findall(r"[^\W\d_]+", written.lower()) for m in _where(word, catalog)]
    sides, own = {_side_said(m, hand) for m in said} - {None}, side_of(place, hand)
    ends = {m for m in said if m.startswith("end:")}
    end = "end:front" if place in SEATS[:2] else "end:rear" if place in SEATS else None
    if (own and sides and own not in sides) or (end and ends and end not in ends):
        text = f"part {label.number}, serial {label.serial}: its label names another place."
        remedy = f"Read it again; if it fits, record passed 'label:{label.component}' with why."
        return "undecided", text, remedy
    return None


def _is_no_number(number: str, catalog: Catalog) -> bool:
    """``unknown1``, ``n/a``, ``tbd``: what people write in place of a number.

    A short word may begin a number, ``NA 1147``; alone it is none.
    """
    said = _letters(number).lower()
    word = said.strip("0123456789")
    return word in catalog.said.nobody and (word == said or len(word) >= _LONG_WORD)


def _is_latin(letter: str) -> bool:
    name = unicodedata.name(unicodedata.normalize("NFKC", letter)[0], "")
    return letter.isascii() or name.startswith(("LATIN", "DIGIT"))


def _where(word: str, catalog: Catalog) -> tuple[str, ...]:
    """Return the sides, seats and ends that one word of a label names; two letters may be a code.

    LH and RH are common practice, no source.
    """
    if len(word) < _WORD and word not in ("lh", "rh"):
        return ()
    return catalog.vocabulary.places.get(word, ())


_WORD = 3
_LONG_WORD = 4  # letters of a word that begins no number


def _side_said(meaning: str, hand: Side) -> Side | None:
    key, _, value = meaning.partition(":")
    return side_of(value, hand) if key in ("side", "seat") else None


def _judge_day(label: PartLabel, history: History, catalog: Catalog) -> Judged | None:
    """Return what speaks against the day on which a part was made; None when nothing does."""
    named = f"part {label.number.strip()}, a {split_component(label.component).kind}"
    fitted = [history.entries[n].time for n in replacements(history).get(label.component, ())]
    made, day = _first_day_of(label.made_on), fitted[-1].date() if fitted and fitted[-1] else None
    if label.made_on.strip() and made is None:
        text = f"{named}, is dated '{label.made_on}', which is no day."
        return "undecided", text, "Read the label again; write the day as 2019-05-13, or the year."
    if made and day and made > day:
        text = f"{named}, was made on {label.made_on}, after it was fitted."
        return "not met", text, "Read the label again, or correct the day it was fitted."
    old = catalog.fact("label.new-years").number()
    if made and day and label.provenance == "new" and day.year - made.year > old:
        text = f"{named}, is called new and was made on {label.made_on}."
        return "undecided", text, "Read the label again, or say where it lay, with the invoice."
    return None


def _list_gone(history: History) -> set[tuple[str, str]]:
    """Return part and serial numbers of parts that came out, by the labels that were read off."""
    fitted = replacements(history)
    return {
        _mark(x)
        for n, x in history.all_of(PartLabel)
        if (places := fitted.get(x.component, ()))
        and (x.provenance == ORIGINAL or (len(places) > 1 and n < places[-2]))
    }


def _sold_as(component: str, catalog: Catalog) -> set[str]:
    """Return as which assemblies a part is sold, by its kind and its place; empty for none."""
    name = split_component(component)
    there = (a for a in catalog.assemblies.values() if name.kind in a.key and not a.instead)
    return {a.id for a in there if name.place in a.places}


def _first_day_of(text: str) -> dt.date | None:
    """Return the first day that a day, week, month or year on a label may mean; None for none."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        year = re.search(r"(?<!\d)(?:19|20)\d\d(?!\d)", text)
    if year is None:
        return None
    rest = text.replace(year[0], " ", 1).lower()
    found = [int(n) for n in re.findall(r"\d+", rest)]
    if _WEEK.search(rest) and len(found) == 1:
        return _make_day(dt.date.fromisocalendar, int(year[0]), found[0], 1)
    if len(found) > 2 or (len(found) == 1 and found[0] > 12 and not _MONTH.search(rest)):
        return None
    pairs = [(1, 1)] if len(found) < 2 else [(found[0], found[1]), (found[1], found[0])]
    if len(found) == 1 and not _MONTH.search(rest):
        pairs = [(found[0], 1)]
    days = [d for m, n in pairs if (d := _make_day(dt.date, int(year[0]), m, n))]
    return min(days, default=None)


_WEEK = re.compile(r"\b(?:kw|cw|wk?|week|woche|sem|semana)\b")
_MONTH = re.compile(r"[a-z]{3}")


def _make_day(make: Callable[[int, int, int], dt.date], *figures: int) -> dt.date | None:
    try:
        return make(*figures)
    except ValueError:
        return None


def _judge_donor(label: PartLabel, vin: str | None, catalog: Catalog) -> Judged | None:
    """Return what is wrong with the identification number of a donor; None when nothing is.

    Source: 49 CFR 565.15, tables III and IV: the check digit in position 9. Only cars made for
    North America must carry one (from memory), so only theirs is asked for. Seventeen characters
    without I, O and Q are asked of all: 49 CFR 565.13 (b) and (f), ISO 3779.
    """
    donor = _letters(label.donor_vin or "")
    if not donor:
        return None
    if donor == _letters(vin or ""):
        text = f"the donor of part {label.number} is this car itself."
        return "not met", text, "Name the car that the part came from."
    rules = catalog.vin
    must_verify = any(donor[0] in r.first for r in rules.regions if r.checked)
    whole = len(donor) == len(rules.weights) and all(c in rules.values for c in donor)
    if whole and (not must_verify or check_digit(donor, rules) == donor[8]):
        return None
    wrong = "whose check digit does not verify" if whole else "which is no VIN of 17 characters"
    text = f"part {label.number} of donor {donor}, {wrong}."
    remedy = (
        "Read the donor's number again, from the car or its title; if it stands so there, record "
        f"passed 'label:{label.component}' with the document."
    )
    return "undecided", text, remedy


def _judge_origin(
    label: PartLabel,
    fires: bool,
    twice: set[tuple[str, str]],
    catalog: Catalog,
    *,
    is_plain: bool,
) -> Judged:
    name = f"part {label.number}"
    least = catalog.fact("label.short-number").number()
    if not any(c.isdigit() for c in label.number) or len(_letters(label.number)) < least:
        shown = f"'{label.number}' is no part number."
        told = shown if label.number.strip() else "the part number is not written down."
        return "undecided", told, "Read it from the label; words such as 'same' are none."
    if _mark(label) in twice:
        text = f"{name}: serial {label.serial} stands on another part of this car too."
        return "not met", text, "Read both labels again; one part cannot be in two places."
    if label.provenance == "unknown":
        remedy = "Find out who made and sold it; a part of unknown origin is not fitted."
        return "undecided", f"{name} is of unknown origin.", remedy
    if label.provenance in USED:
        plain: Judged = ("met", f"{name}, a used body part{_sold(label)}.", "")
        return plain if is_plain else _judge_used(label, fires)
    return _judge_new(label, fires)


def _judge_new(label: PartLabel, fires: bool) -> Judged:
    name = f"part {label.number}"
    if _letters(label.donor_vin or ""):
        remedy = "Write recycled where it came out of another car, or strike the donor."
        return "undecided", f"{name} is called new, and its donor is named.", remedy
    if fires and not label.seller.strip():
        remedy = "Write down where it was bought: a new one without a seller may be counterfeit."
        return "undecided", f"{name} is new, its seller is not named.", remedy
    return "met", f"{name}, new{_sold(label)}.", ""


def _judge_used(label: PartLabel, fires: bool) -> Judged:
    if fires and label.provenance == "repaired":
        remedy = "Show who repaired it and under which approval, or fit a new one."
        return "undecided", f"part {label.number} is repaired and holds a charge.", remedy
    if not label.donor_vin:
        remedy = "Get it from the invoice; without it no recall check is possible."
        return "undecided", f"part {label.number} is used, its donor is not named.", remedy
    return "met", f"part {label.number} of donor {label.donor_vin}{_sold(label)}.", ""


def _judge_recall(label: PartLabel, fires: bool) -> Judged | None:
    """Return the verdict on the recall check; None for a new part that nobody checked."""
    used = label.provenance in USED
    if label.recall_checked is True:
        return "met", f"part {label.number} was checked against recalls.", ""
    if label.recall_checked is False and (fires or used):
        text = f"part {label.number} was not checked against recalls."
        return "not met", text, "Check it by part number and donor VIN, and record it."
    if not used:
        return None
    remedy = "Check it by donor VIN and part number, and record recall_checked."
    return "undecided", f"part {label.number}: no recall check is recorded.", remedy


def _sold(label: PartLabel) -> str:
    return f" from {label.seller}" if label.seller else ""
