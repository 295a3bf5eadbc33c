"""From the phrases of a line to what they say together of part, place, stage, fault and status."""

from collections.abc import Collection
from itertools import pairwise, takewhile

from squibwise.catalog.vocabulary import VOICES
from squibwise.intake.report.language.lexicon import Token
from squibwise.intake.report.language.numbers_beside import AND, add_counts
from squibwise.intake.report.language.phrases import Hit
from squibwise.intake.report.language.place_letters import (
    is_cut_word,
    is_resistance,
    is_side_of_part,
)
from squibwise.intake.report.language.words import (
    FAULTS,
    KERB,
    PARTS,
    Words,
    add_meanings,
    add_status,
    settle_driver,
)

_NOT = frozenset("not nicht non pas no nao nie niet sin sem sans".split())
_NEVER = frozenset(
    "never niemals jamais nunca jamas mai nigdy nooit "
    "nobody niemand personne nadie nessuno nikt ninguem".split()
)
_ADVERBS = frozenset("not nicht nie niet".split())
_DENIED = {"status:present": "status:stored", "tested": "status:not-tested"}
_KEPT = frozenset({"status:stored", "status:intermittent", "status:pending"})
_OF_FAULTS = frozenset({"skip", "defect", "asked"})
_IS_NONE = {"status:stored": "gone"}  # "not in memory"
YES = frozenset("y yes x ja j o oui si s sim tak t 1".split())
NO = frozenset("n no nein non nao nie nee 0".split())
_SPECIAL_BAGS = frozenset("curtain knee side middle cushion inflatablebelt".split())
_EVERYDAY = frozenset("atwheel atdash atroof atseat atbumper atpost".split())
_HOLDS_CRASH = frozenset({"impact", "unit", "skip", "system", "airbagmodule"})
_VIEWED = frozenset({"opposed", "infront"})
_SHORTEST_PLACE = 3  # letters of a word for a seat or side that somebody may have misspelt
_NAMES = PARTS | {"bag"}
_REACH = 3  # words between a negation and what it denies


def read_words(
    tokens: tuple[Token, ...], hits: tuple[Hit, ...], denying: Collection[str] = ()
) -> Words:
    """Return what the phrases of a line say together."""
    words = Words()
    hits = _lack_messages(_answered(join_denied(hits, tokens), tokens))
    hits = _seen_from_behind(hits, tokens)
    for hit in hits:
        # "Airbag; driver side" names the place, "driver side airbag" may name the side airbag.
        is_letter = "alone" in hit.means and not _fills_stretch(hit, tokens)
        is_last = hit.last == len(tokens) and hit.means[0] in ("status:stored", "open")
        is_letter = is_letter and not is_cut_word(hit, tokens)
        if is_resistance(hit, hits, tokens) or _is_of_number(hit, hits, tokens):
            continue
        if is_letter and not is_last and not is_side_of_part(hit, hits, tokens):
            continue
        is_place = "byside" in hit.means and "row:2" not in hit.means and _stands_apart(hit, tokens)
        add_meanings(words, tuple(m for m in hit.means if not (is_place and m == "byside")))
        if hit.means == ("seatbag",) and _stands_apart(hit, tokens):
            words.features.add("atseat")  # "driver airbag (seat)" tells where it sits
    _open_what_is_joined(words, tokens, hits)
    add_counts(words, tokens, hits)
    if words.features & {"bag", "charge"} and not words.stages:
        ends = (h for h in hits if _stands_apart(h, tokens))
        words.stages |= {int(m[4:]) for h in ends for m in h.means if m.startswith("nth:")}
    if words.seats and {"bag", "byside"} <= words.features and not words.features & PARTS:
        words.stages |= words.numbers  # "PS BAG 1": a seat has one side airbag, of one charge
    settle_driver(words)
    _compose(words)
    _hear(words, tokens, hits, denying)
    telling = [h for h in hits if h.means != ("skip",)]
    if any(_denies_next(one, two, tokens, denying) for one, two in pairwise(telling)):
        words.voices.add("not")
    _hear_return(words, hits, tokens)
    if "crashsignal" in words.features and "locked" in words.statuses:
        words.features -= {"crashsignal"}  # "crash output locked": a record is, a signal is not
        words.features.add("crashrecord")
    return words


def _seen_from_behind(hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> tuple[Hit, ...]:
    """Return phrases without places where something is not: ``opposite the driver``.

    Nor is ``right, seen from the front`` the right side of a car: which one is meant is not told.
    """
    if all(_VIEWED.isdisjoint(h.means) for h in hits):
        return hits
    sides = [h for h in hits if any(m.startswith("side:") for m in h.means)]
    places = [h for h in hits if h in sides or any(m.startswith("seat:") for m in h.means)]
    gone = [_nearest(h, places, tokens) for h in hits if "opposed" in h.means]
    gone += sides if any("infront" in h.means for h in hits) else []
    return tuple(h for h in hits if h not in gone and _VIEWED.isdisjoint(h.means))


def without_denied_places(hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> tuple[Hit, ...]:
    """Return phrases without ``not driver side``, where that ends what stands between signs."""
    gone: set[Hit] = set()
    for one, two in pairwise(h for h in hits if h.means != ("skip",)):
        is_place = any(m.startswith(("seat:", "side:")) for m in two.means)
        ends = two.last == len(tokens) or tokens[two.last].apart
        is_denied = one.means == ("not",) and tokens[one.first].text in _NOT
        if is_place and ends and is_denied and _nearest(one, [two], tokens) is two:
            gone |= {one, two}
    return tuple(h for h in hits if h not in gone)


def _hear_return(words: Words, hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> None:
    """``cleared them and they came right back``: what is back is there, whatever was before."""
    over = [h for h in hits if {"gone", "status:cleared"} & set(h.means)]
    back = [h for h in hits if "exists" in h.means and over and h.first >= over[-1].last]
    gone = (h for h in over if "gone" in h.means)
    if not back or "not" in words.voices or any(_nearest(h, back, tokens) for h in gone):
        return  # "it has not come back", "no longer exists"
    words.voices.discard("gone")
    words.statuses[:] = [s for s in words.statuses if s != "cleared"]
    add_status(words, "present")


def join_denied(hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> tuple[Hit, ...]:
    """Return phrases with ``not active`` as one that says stored, ``not tried`` as not tested."""
    found: list[Hit] = []
    is_there = any("status:present" in h.means for h in hits)  # "present, not stored"
    for hit in hits:
        is_lone = not is_there and hit.means == ("status:stored",)
        is_lone = is_lone and bool(found) and found[-1].means == ("not",)
        denied = _DENIED | _IS_NONE if is_lone else _DENIED
        if "status:intermittent" in hit.means and found and _denies_ahead(found, hit, tokens):
            found[-1] = Hit(("status:present",), found[-1].first, hit.last, hit.language)
            continue  # "no longer intermittent": there all the time
        joined = denied.get(next((m for m in hit.means if m in denied), ""))
        if joined and found and _denies_right_before(found[-1], hit, tokens):
            found[-1] = Hit((joined,), found[-1].first, hit.last, hit.language)
        else:
            found.append(hit)
    return tuple(found)


def _lack_messages(hits: tuple[Hit, ...]) -> tuple[Hit, ...]:
    """``message of the unit absent``: what is not there is the message, and no fault is stored."""
    if not any("lacking:communication" in h.means for h in hits):
        return hits
    if FAULTS & {m for h in hits if not _lacking(h) for m in h.means}:
        return hits
    absent = [h for h in hits if "away" in h.means and h.last == h.first + 1]
    return tuple(Hit(("not",), h.first, h.last, h.language) if h in absent else h for h in hits)


def _denies_ahead(found: list[Hit], hit: Hit, tokens: tuple[Token, ...]) -> bool:
    """``ya no es intermitente``: a negation, and at most a verb between it and a phrase."""
    is_verb = found[-1].means == ("asked",) and len(found) > 1
    no = found[-2] if is_verb else found[-1]
    denying = _NOT | {"plus"}  # "n'est plus"
    texts = {t.text for t in tokens[no.first : no.last]}
    is_denial = {"not", "gone"} & {*no.means} and denying & texts
    is_near = hit.first - no.last <= 1 + is_verb and not _is_parted(tokens, no.last, hit.first)
    if is_denial and is_near and is_verb:
        found.pop()
    return bool(is_denial) and is_near


def _denies_right_before(one: Hit, two: Hit, tokens: tuple[Token, ...]) -> bool:
    is_adverb = "not" in one.means and tokens[one.first].text in _NOT
    return is_adverb and two.first == one.last and not _is_parted(tokens, one.last, two.first)


def _answered(hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> tuple[Hit, ...]:
    """``present: no`` is a stored fault; a status that is answered yes is that status."""
    found: list[Hit] = []
    gone: set[int] = set()
    for hit in hits:
        answer = tokens[hit.last] if hit.last < len(tokens) else None
        is_status = any(m.startswith("status:") for m in hit.means)
        ends = hit.last + 1 >= len(tokens) or tokens[hit.last + 1].apart
        if not (is_status and answer is not None and answer.apart and ends):
            found.append(hit)
        elif answer.text in NO:
            gone.add(hit.last)
            if "status:present" in hit.means:
                found.append(Hit(("status:stored",), hit.first, hit.last, hit.language))
        else:
            found.append(hit)
            gone |= {hit.last} if answer.text in YES else set()
    return tuple(h for h in found if h.first not in gone)


def _compose(words: Words) -> None:
    """``bag above the glove box``: everyday words for a place make a known part of a plain one."""
    told = words.features
    if "theone" in told and told & _EVERYDAY and not told & (PARTS - {"charge"}):
        told.add("bag")  # "the one in the wheel"
    told.discard("theone")
    if "bag" in told and not told & _SPECIAL_BAGS:
        _name_bag(words)
    if "sensor" in told and not told & {"charge", "pretension", "occupant", "buckle"}:
        if "atbumper" in told and ("impact" in told or "foreign" not in told):
            told.add("impact")
        elif "atpost" in told:
            told |= {"impact", "side", "pillar"}
            words.sides.discard("centre")
    if "stuck" in told and "locked" in words.statuses:  # what is said of a unit and of a switch
        if "buckle" in told and not told & {"unit", "crashrecord"}:
            told.add("mechanical")
            words.statuses.remove("locked")
        else:
            told.discard("stuck")
    if {"impact", "unit"} <= told <= _HOLDS_CRASH and set(words.statuses) & {"stored", "locked"}:
        told.add("crashrecord")  # "the unit has stored a crash"
    if "hv" in told and told & {"cut", "batterycut"}:
        told.add("hvcut")
        told -= {"voltage", "battery", "batterycut"}  # they told which cut-off it is
    if "atbumper" in told and ("impact" in told or told <= {"atbumper", "skip"}):
        words.ends.add("front")  # it also heads what sits there
    told -= set() if "bag" in told else {"seatbag"}  # the seat is where a belt or a sensor is
    if told & _EVERYDAY:
        told -= _EVERYDAY
        told.add("skip")


def _name_bag(words: Words) -> None:
    """Set which airbag is meant by where it sits."""
    told = words.features
    has_side = bool(words.sides or told & KERB)
    if "atroof" in told:
        told.add("curtain")
    elif "atwheel" in told and "passenger" not in words.seats:
        told.add("frontal")
        words.seats.add("driver")
    elif "atdash" in told and "driver" not in words.seats:
        told.add("frontal")
        words.seats.add("passenger")
    elif "atseat" in told or ("seatbag" in told and has_side and not words.seats):
        told.add("side")
    elif {"seatbag", "byside"} <= told:
        told.add("side")  # "driver side airbag (seat)": seat and side together name the one


def _denies_next(one: Hit, two: Hit, tokens: tuple[Token, ...], denying: Collection[str]) -> bool:
    """``no communication error``: two phrases of which the first denies the word for a fault.

    ``not configured`` is a fault whole in itself and denies nothing after it.
    """
    first = tokens[one.first].text
    is_whole = first in _ADVERBS and one.last - one.first > 1
    is_fault = bool(FAULTS & set(one.means)) and first in denying and not is_whole
    if FAULTS & set(one.means) == FAULTS & set(two.means) == {"communication"}:
        return False  # "no signal/communication" says it twice
    follows = two.first - one.last <= 1 and not tokens[two.first].apart
    means = set(two.means)
    return is_fault and follows and bool(FAULTS & means or means == {"impact"})


def _hear(
    words: Words, tokens: tuple[Token, ...], hits: tuple[Hit, ...], denying: Collection[str]
) -> None:
    """Set what is said of the fault; ``not calibrated`` is a fault of its own, no denial."""
    used = _take_denials(words, tokens, hits)
    used |= _said_twice(hits, used, tokens, denying)
    heard = [h for h in hits if h not in used]
    is_tested = any("tested" in h.means for h in heard)
    is_free = not (words.features & FAULTS or words.statuses)  # "left curtain good"
    parts = {h.last for h in hits if is_free and any(m in _NAMES or ":" in m for m in h.means)}
    lone = {h for h in heard if "alone" in h.means and not _fills_stretch(h, tokens, parts)}
    heard = [h for h in heard if is_tested or h not in lone]
    kept = [h for h in heard if {"status:stored", "gone"} <= {*h.means}]
    kept = [h for h in kept if _is_kept(h, hits, tokens)]
    words.voices |= {
        m for h in heard for m in h.means if m in VOICES and (h not in kept or m != "gone")
    }
    if any("good" in h.means and _fills_stretch(h, tokens) for h in heard):
        words.voices.add("fine")  # "checked for open: ok", not "open, good plug"


def _is_kept(hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> bool:
    """``stored, no longer present``, ``connector no longer present``: the fault is stored yet."""
    first = next((n for n in range(hit.first, 0, -1) if tokens[n].apart), 0)
    last = next((n for n in range(hit.last, len(tokens)) if tokens[n].apart), len(tokens))
    own = {n for h in hits if h is hit or {*h.means} <= _OF_FAULTS for n in range(h.first, h.last)}
    is_stored = any(h is not hit and _KEPT & {*h.means} for h in hits)
    return is_stored or not own.issuperset(range(first, last))


def _take_denials(words: Words, tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> set[Hit]:
    """Add what a negation makes of the words beside it; return the phrases that are told so."""
    used: set[Hit] = set()
    denials = [h for h in hits if "not" in h.means or "need" in h.means]
    lacks = [h for h in hits if _lacking(h)] if denials else []
    for hit in denials:
        cleared = _nearest(hit, [h for h in hits if "status:cleared" in h.means], tokens)
        if cleared is not None and cleared.first >= hit.last:
            words.statuses[:] = [s for s in words.statuses if s != "cleared"]
            used.add(hit)  # "not cleared", "cannot be wiped": it is there
            continue
        over = _undone(hit, [h for h in hits if h.means == ("gone",)], tokens)
        if over is not None:
            used |= {hit, over}  # "never got fixed", "verschwindet nicht": the same
            continue
        lack = _nearest(hit, lacks, tokens) or _led_by(hit, hits, lacks)
        good = _good_near(hit, hits, tokens)
        if lack is not None and _lacking(lack) == "locked":
            add_status(words, "locked")
            used.add(hit)
        elif lack is not None:
            words.features.add(_lacking(lack))
            used.add(hit)
        elif "need" in hit.means:
            continue
        elif good is not None:
            words.features.add("defect")
            used |= {hit, good}
        elif _lacks_ground(hit, hits, words, tokens):
            words.features.add("open")
            used.add(hit)
        elif _nearest(hit, [h for h in hits if "exists" in h.means], tokens) is not None:
            words.voices.add("gone")
    return used


def _undone(hit: Hit, overs: list[Hit], tokens: tuple[Token, ...]) -> Hit | None:
    """What a negation says has not been done, or does not happen."""
    over = _nearest(hit, overs, tokens)
    if over is None or tokens[hit.first].text not in _NOT | _NEVER:
        return None
    ends = hit.last == len(tokens) or tokens[hit.last].apart
    is_near = over.last == hit.first if ends else 0 <= over.first - hit.last <= 1
    return over if is_near else None


def _led_by(hit: Hit, hits: tuple[Hit, ...], lacks: list[Hit]) -> Hit | None:
    """``signal from the left front sensor: missing``: what a line speaks of is not there."""
    first = next(iter(lacks), hit)
    told = {m for h in hits if h != first for m in h.means} & (FAULTS | {"not"})
    behind = (h for h in hits if h.first > hit.first)
    is_last = all(h.means[0].startswith("status:") for h in behind)
    before = {m for h in hits if h.first < first.first for m in h.means}
    leads = first.first < hit.first and not before & {*PARTS, "bag"}
    return first if leads and is_last and told == {"not"} else None


def _good_near(hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> Hit | None:
    """The praise that a negation denies; ``no it's fine`` denies none."""
    good = _nearest(hit, [h for h in hits if "good" in h.means], tokens)
    is_far = good is not None and good.first - hit.last > 1
    if good is None or good.first < hit.last or (is_far and tokens[hit.first].text == "no"):
        return None
    return good


def _lacks_ground(hit: Hit, hits: tuple[Hit, ...], words: Words, tokens: tuple[Token, ...]) -> bool:
    """``no ground at the clock spring``: what is missing there is the ground itself."""
    if words.features & FAULTS != {"ground"}:
        return False
    grounds = (h for h in hits if h.means == ("ground",) and h.last == h.first + 1)
    return any(h.first == hit.last and not tokens[h.first].apart for h in grounds)


def _said_twice(
    hits: tuple[Hit, ...], used: set[Hit], tokens: tuple[Token, ...], denying: Collection[str]
) -> set[Hit]:
    """Negations that are one with the next: ``n'est`` before ``pas``, or before ``pas codé``."""
    found = set()
    for one, two in pairwise(hits):
        if "not" not in one.means or one.last != two.first:
            continue
        is_lack = bool(FAULTS & set(two.means)) and tokens[two.first].text in denying
        if is_lack or ("not" in two.means and used & {one, two}):
            found |= {one, two}
    return found


def _is_of_number(hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> bool:
    """``coding 0112233``, with nothing wrong told of it: a label."""
    if hit.means != ("configuration", "lacking:configuration"):
        return False
    told = takewhile(lambda t: not t.apart, tokens[hit.last + 1 :])
    is_number = any(t.text[0].isdecimal() for t in tokens[hit.last : hit.last + 1])
    is_bare = all(t.text[0].isdecimal() or len(t.text) == 1 for t in told)  # "0x3A21"
    return is_number and is_bare and not any("not" in h.means and h.last == hit.first for h in hits)


def _lacking(hit: Hit) -> str:
    """The fault that the lack of what a phrase names is; empty for other phrases."""
    return next((m[8:] for m in hit.means if m.startswith("lacking:")), "")


def _nearest(hit: Hit, others: list[Hit], tokens: tuple[Token, ...]) -> Hit | None:
    """The next phrase of a list within reach of a negation: after it, else before it."""
    after = [o for o in others if 0 <= o.first - hit.last <= _REACH]
    before = [o for o in others if 0 <= hit.first - o.last <= _REACH - 1]
    after = [o for o in after if not _is_parted(tokens, hit.last, o.first)]
    before = [o for o in before if not _is_parted(tokens, o.last, hit.first)]
    return after[0] if after else before[-1] if before else None


def _is_parted(tokens: tuple[Token, ...], first: int, last: int) -> bool:
    return any(t.apart for t in tokens[first : last + 1])


def _open_what_is_joined(words: Words, tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> None:
    """``diver and passenger``: a word nobody knows beside a seat or side leaves it open."""
    covered = {i for h in hits for i in range(h.first, h.last)}
    for hit in hits:
        at = hit.first
        joined = at >= 2 and tokens[at - 1].text in AND and at - 2 not in covered
        joined = joined and len(tokens[at - 2].text) >= _SHORTEST_PLACE  # "oh and left"
        joined = joined and not (tokens[at - 1].apart or tokens[at].apart)
        if joined and any(m.startswith("seat:") for m in hit.means):
            words.seats |= {"driver", "passenger"}
        if joined and any(m.startswith("side:") for m in hit.means):
            words.sides |= {"left", "right"}


def _stands_apart(hit: Hit, tokens: tuple[Token, ...]) -> bool:
    """Tell whether a phrase fills a stretch between two separators of the line."""
    return tokens[hit.first].apart and _fills_stretch(hit, tokens)


def _fills_stretch(hit: Hit, tokens: tuple[Token, ...], parts: Collection[int] = ()) -> bool:
    """Tell whether a phrase is all that stands between signs, or is good and ends a part there."""
    ends = hit.last == len(tokens) or tokens[hit.last].apart
    is_behind = hit.first in parts and hit.means == ("good", "alone")
    return (is_behind or hit.first == 0 or tokens[hit.first].apart) and ends
