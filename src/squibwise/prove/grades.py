"""What is shown, what is only stated and what is open: of gates, papers, parts and questions."""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.catalog.texts import PASSED, Paper
from squibwise.history.closing import judge_lamp, judge_scan
from squibwise.history.order import last_change
from squibwise.history.signed import is_name, label_of, last_signed
from squibwise.model.evidence import (
    DoneWork,
    Evidence,
    LampCheck,
    Look,
    PartLabel,
    Passed,
    Photo,
    Reading,
    Recorder,
    SeatTrial,
    SubstituteLoad,
    TestOutcome,
)
from squibwise.model.names import split_loop
from squibwise.model.proof import Gate
from squibwise.model.report import Report
from squibwise.prove.fitted import USED
from squibwise.prove.gates import Context, replaced
from squibwise.prove.handed_over import DISPOSAL, UNSAID

SHOWN, STATED, OPEN, UNASKED = "shown", "stated", "open", "not asked"
_COUNTED = ("input-clean", "contradictions", "not-sound", "verdicts", "failed-checks")
NOBODY = "nobody named"
_EMPTY = " (file attached, shows nothing that can be read)"
_SHARED = " (the picture is the same for too many parts to show each)"
_LABEL = "labels"
_PICTURES = tuple(".jpg .jpeg .png .webp .heic .gif .tif .tiff .pdf .mp4 .mov".split())


def is_shown(entry: Evidence, context: Context) -> bool:
    """Return whether a stranger can see what an entry says, without believing who entered it.

    A scan shows itself when its file is hashed in the record, a photograph when there is something
    on it; a reading and a seat trial are figures. Anything else needs a photograph of its component
    or of its operation, or a note that names a document of the case: a file that is no scan and no
    crash data.
    """
    if isinstance(entry, Report | Recorder):
        return _is_kept(entry.file or entry.origin.file or "", context)
    if isinstance(entry, Reading | SeatTrial):
        return True
    if isinstance(entry, Photo):
        return shows_anything(entry.file, context)
    note = entry.note if isinstance(entry, Passed) else ""
    return bool(named_documents(note, context)) or any(
        _is_of(photo, entry) and not _is_before(photo, entry, context)
        for photo in _list_showing(context)
    )


def named_documents(note: str, context: Context) -> list[str]:
    """Return the documents of the case that a note names by their whole path."""
    scans = [e for e in context.history.entries if isinstance(e, Report | Recorder)]
    read = {e.file or e.origin.file for e in scans}
    return [
        name
        for name in context.case.files
        if name not in read
        and re.search(rf"(?<![\w./-]){re.escape(name)}(?![\w-])", note)
        and shows_anything(name, context)
    ]


def _is_kept(name: str, context: Context) -> bool:
    return any(name == kept or name.endswith(f"/{kept}") for kept in context.case.files)


def kept_photos(context: Context) -> list[Photo]:
    """Return the photographs whose file is hashed in the record, and is the one that was added.

    What is no picture and no document by its name shows nothing: a case file, a scan, a text.
    """
    kept = context.case.files
    return [
        p
        for _, p in context.history.all_of(Photo)
        if p.file in kept and p.sha256 in ("", kept[p.file]) and p.file.lower().endswith(_PICTURES)
    ]


def _list_showing(context: Context) -> list[Photo]:
    """Return the photographs that show a part: one picture of very many parts shows none."""
    photos = [p for p in kept_photos(context) if shows_anything(p.file, context)]
    parts: dict[str, set[str]] = {}
    for photo in photos:
        parts.setdefault(_picture_of(photo, context), set()).add(photo.component or "")
    most = context.catalog.fact("picture.most-parts").number()
    return [p for p in photos if len(parts[_picture_of(p, context)] - {""}) <= most]


def _picture_of(photo: Photo, context: Context) -> str:
    picture = context.case.pictures.get(photo.file)
    first = (picture.same_as if picture else "") or photo.file
    return context.case.files.get(first, first)


def shows_anything(file: str, context: Context) -> bool:
    """Return whether anything can be seen on a file of the case, as far as it was measured.

    A picture shows nothing that cannot be opened here, that is tiny, or that is of one colour.
    """
    picture = context.case.pictures.get(file)
    if picture is None:
        return True
    short = context.catalog.fact("picture.short-side").number()
    contrast = context.catalog.fact("picture.contrast").number()
    return min(picture.width, picture.height) >= short and picture.contrast >= contrast


def _is_of(photo: Photo, entry: Evidence) -> bool:
    """Return whether a photograph was taken of what an entry tells: its operation, or its part."""
    component = getattr(entry, "component", None) or _component_of(entry)
    if photo.operation:
        words = {photo.operation, photo.operation.removeprefix("step:")}
        named = {getattr(entry, "item", None), word_of(entry)}
        if isinstance(entry, PartLabel):
            return photo.component == component and _LABEL in words
        return bool(words & named)
    return photo.component is not None and photo.component == component


def _is_before(photo: Photo, entry: Evidence, context: Context) -> bool:
    """Return whether a picture is older than what it is to show.

    A substitute load and what was handed over cannot be older than the first work on the car.
    """
    since: list[Evidence] = []
    if isinstance(entry, DoneWork):
        since = [entry]
    elif isinstance(entry, SubstituteLoad) or word_of(entry) in DISPOSAL:
        moves = context.history.all_of(SubstituteLoad)
        since = [*(w for _, w in context.history.works), *(s for _, s in moves)]
    days = [e.time.replace(tzinfo=None) for e in since if e.time is not None]
    return bool(photo.time and days and photo.time.replace(tzinfo=None) < min(days))


def word_of(entry: Evidence) -> str:
    """Return the word an entry was signed under; empty when it is no signature."""
    return entry.what.removeprefix("step:") if isinstance(entry, Passed) else ""


def _component_of(entry: Evidence) -> str | None:
    if isinstance(entry, SubstituteLoad):
        return split_loop(entry.loop)[0]
    return None


def tell_stated(entry: Evidence, context: Context) -> str:
    """Return what an entry states, by whom and when, in one line."""
    about = _subject_of(entry, context)
    component = getattr(entry, "component", None) or _component_of(entry)
    title = str(component or "")
    title = component_title(title, context.catalog) if "." in title else title
    named = f"{title} {about.replace('-', ' ')}".strip() if title else about
    on = f", {entry.time.date().isoformat()}" if entry.time else ""
    unsaid = f". {UNSAID}" if word_of(entry) in DISPOSAL and not getattr(entry, "note", "") else ""
    attached = [p for p in kept_photos(context) if _is_of(p, entry)]
    is_empty = any(not shows_anything(p.file, context) for p in attached)
    shared = attached and not is_empty and not any(p in _list_showing(context) for p in attached)
    seen = _EMPTY if is_empty else _SHARED if shared else ""
    return f"{named}: {name_of(entry, context.catalog) or NOBODY}{on}{unsaid}{seen}"


def _subject_of(entry: Evidence, context: Context) -> str:
    """Return what an entry says or signs: an item of the work by its title."""
    what = getattr(entry, "what", None) or getattr(entry, "seen", None) or entry_kind(entry)
    if not isinstance(entry, Passed):
        return what
    titles = {i.id: i.title.partition(";")[0] for i in context.work.items}
    titles |= {o.id: o.short for o in context.work.operations if o.short}
    return titles.get(what) or titles.get(f"step:{what}") or what.removeprefix("step:")


def entry_kind(entry: Evidence) -> str:
    """Return the kind of an entry as people write it."""
    return str(entry.__struct_config__.tag)


def name_of(entry: Evidence | None, catalog: Catalog) -> str:
    """Return who an entry is by; empty when nobody is named."""
    by = getattr(entry, "by", None) or (entry.origin.person if entry else None) or ""
    return by if is_name(by, catalog) else ""


def grade_gates(gates: Iterable[Gate], context: Context) -> tuple[Gate, ...]:
    """Return gates with their grade: a closed one is shown only if all it leans on is shown."""
    return tuple(_graded(gate, context) for gate in gates)


def _graded(gate: Gate, context: Context) -> Gate:
    if gate.open:
        return msgspec.structs.replace(gate, grade=OPEN)
    entries = _LEANS_ON.get(gate.id, _nothing)(context)
    hidden = [tell_stated(e, context) for e in entries if not is_shown(e, context)]
    unseen = (*dict.fromkeys(hidden), *_UNSEEN.get(gate.id, _no_words)(context))
    shown = SHOWN if entries or gate.id in _COUNTED else UNASKED
    return msgspec.structs.replace(gate, grade=STATED if unseen else shown, stated=unseen)


def _nothing(context: Context) -> list[Evidence]:
    del context
    return []


def _no_words(context: Context) -> tuple[str, ...]:
    del context
    return ()


def _last_looks(context: Context) -> list[Evidence]:
    return list({x.component: x for _, x in context.history.all_of(Look)}.values())


def signed_items(*actions: str) -> Callable[[Context], Sequence[Evidence]]:
    """Return who finds the signatures, and the work, that tick items of these actions."""

    def find(context: Context) -> list[Evidence]:
        items = {i.id for i in context.work.items if i.action in actions}
        words = items | {i.removeprefix("step:") for i in items}
        last = {p.what: p for _, p in context.history.all_of(Passed) if p.what in words}
        named = {w.item: w for _, w in context.history.all_of(DoneWork) if w.item in items}
        return [*last.values(), *named.values()]

    return find


def signed_under(*words: str) -> Callable[[Context], Sequence[Evidence]]:
    """Return who finds the last signature under these words, if it says passed."""

    def find(context: Context) -> list[Evidence]:
        last = last_signed(context.history, *words)
        return [last[1]] if last and last[1].result == "passed" else []

    return find


def _all_of(*kinds: type) -> Callable[[Context], Sequence[Evidence]]:
    return lambda context: [e for e in context.history.entries if isinstance(e, kinds)]


def labels_of(context: Context) -> list[PartLabel]:
    """Return the labels of the parts that were fitted."""
    found = (label_of(context.history, c) for c in replaced(context))
    return [x for x in found if x is not None]


def _disposals(context: Context) -> Sequence[Evidence]:
    words = tuple(f"{c}:disposal" for c in replaced(context))
    return signed_under(*DISPOSAL)(context) or signed_under(*words)(context)


def _lamp(context: Context) -> list[Evidence]:
    standing = judge_lamp(context.history, context.catalog)
    return [standing.entry, *_deciding(standing.decided_by, context)] if standing.entry else []


def _scan(context: Context) -> list[Evidence]:
    standing = judge_scan(context.history, context.catalog, context.case.car.vin)
    return [standing.entry, *_deciding(standing.decided_by, context)] if standing.entry else []


def _deciding(entry_id: str, context: Context) -> list[Evidence]:
    return [e for e in context.history.entries if entry_id and e.id == entry_id]


def _decided(context: Context) -> list[Evidence]:
    """Return the signatures by which a person decided what no published limit does."""
    words = {v.what for v in context.verdicts}
    return [p for _, p in context.history.all_of(Passed) if p.what in words]


def _explained(context: Context) -> Sequence[Evidence]:
    return signed_under("contradictions")(context) if context.assessment.contradictions else []


_LEANS_ON: dict[str, Callable[[Context], Sequence[Evidence]]] = {
    "maker-procedure": signed_under("maker-procedure"),
    "contradictions": _explained,
    "doubtful": _last_looks,
    "not-sound": _last_looks,
    "replacements": lambda c: [
        c.history.entries[n] for n, w in c.history.works if w.what == "replaced"
    ],
    "faults": _all_of(TestOutcome),
    "inspections": signed_items("inspect"),
    "calibrations": signed_items("calibrate"),
    "steps": signed_items("do"),
    "verdicts": _decided,
    "loads-returned": _all_of(SubstituteLoad),
    "provenance": labels_of,
    "recalls": lambda c: [x for x in labels_of(c) if x.provenance in USED],
    "seat-after-work": lambda c: [
        *(e for e in signed_items("calibrate")(c) if "occupant-sensor" in word_of(e)),
        *_all_of(SeatTrial)(c),
    ],
    "disposal": _disposals,
    "lamp-check": _lamp,
    "final-scan": _scan,
    "cautions-read": signed_under("cautions"),
    "answerable": signed_under("release"),
}


def _own_rules(context: Context) -> tuple[str, ...]:
    """Return the rules and limits of the maker as the owner typed them in."""
    profile = context.case.profile
    told = [f"rule '{r.action} {r.component}': {r.source}" for r in profile.rules]
    told += [f"the maker's figure {g.value:g}: {g.source}" for g in profile.figures]
    if not told and profile.name != "unknown":
        told = [f"kind of rules '{profile.name}', chosen by whoever made the case"]
    return tuple(told)


def _scan_says_little(context: Context) -> tuple[str, ...]:
    scan = judge_scan(context.history, context.catalog, context.case.car.vin).entry
    if not isinstance(scan, Report):
        return ()
    coverage = scan.reading.coverage
    says_none = bool(coverage.names_none or coverage.clean)
    missing = {
        "that it is of this car; it names no whole VIN": not scan.reading.vin,
        "that every circuit was read; the file does not say so": coverage.is_vouched,
        "that no fault is stored; the file does not say so": not says_none,
    }
    return tuple(f"{scan.id}: {text}" for text, is_so in missing.items() if is_so)


def _no_load_entered(context: Context) -> tuple[str, ...]:
    moves = context.history.all_of(SubstituteLoad)
    return () if moves else ("that no substitute load was used: none was entered",)


_UNSEEN: dict[str, Callable[[Context], tuple[str, ...]]] = {
    "maker-procedure": _own_rules,
    "final-scan": _scan_says_little,
    "loads-returned": _no_load_entered,
}


def papers(context: Context) -> Iterator[dict[str, Any]]:
    """Yield every paper that is asked for, with its grade.

    ``shown``: a file whose hash stands in the record holds it, or the note of the entry names such
    a file, or a photograph is of it. ``stated``: somebody entered it, and nothing shows it.
    ``open``: nobody did.
    """
    for paper in context.catalog.papers.values():
        entries = _entries(paper, context)
        shown = [e for e in entries if is_shown(e, context)]
        last = (shown or entries)[-1] if entries else None
        yield {
            "id": paper.id,
            "text": paper.text,
            "grade": SHOWN if shown else STATED if entries else OPEN,
            "by": name_of(last, context.catalog),
            "time": last.time.isoformat() if last is not None and last.time else "",
            "source": paper.source,
        }


def _entries(paper: Paper, context: Context) -> list[Evidence]:
    """Return the entries that speak of a paper, in order; a photograph speaks for itself."""
    pictures: list[Evidence] = [
        p for p in kept_photos(context) if p.operation in (paper.id, f"step:{paper.id}")
    ]
    if paper.shown_by.startswith(PASSED):
        word = paper.shown_by.removeprefix(PASSED)
        words = DISPOSAL if word in DISPOSAL else (word, f"step:{word}", word.removeprefix("step:"))
        return [*signed_under(*words)(context), *pictures]
    found = _FOUND[paper.shown_by](context) if paper.shown_by else signed_under(paper.id)(context)
    return [*found, *pictures]


def _before(context: Context) -> list[Evidence]:
    return [r for _, r in context.history.all_of(Report) if r.when != "after-repair"]


def scans_after(context: Context) -> list[Evidence]:
    """Return the last scan when it came after the last work, however it turned out."""
    last = judge_scan(context.history, context.catalog, context.case.car.vin)
    early = {p.word for p in last.problems} & {"early", "none"}
    done = last_change(context.history) >= 0
    is_after = isinstance(last.entry, Report) and last.entry.when == "after-repair"
    return [last.entry] if last.entry is not None and is_after and done and not early else []


_FOUND: dict[str, Callable[[Context], Sequence[Evidence]]] = {
    "report-before": _before,
    "report-after": scans_after,
    "part-label": _all_of(PartLabel),
    "recorder": lambda context: [
        r for _, r in context.history.all_of(Recorder) if r.method == "recorder"
    ],
    "lamp-check": _all_of(LampCheck),
}
