"""What the record answers: parts that were fitted, photographs, and what its readers ask."""

from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Any

from squibwise.catalog.load import Catalog, component_title, holds_charge
from squibwise.history.closing import judge_lamp, judge_scan
from squibwise.history.signed import label_of
from squibwise.model.car import Profile
from squibwise.model.evidence import DoneWork, Evidence, Look, PartLabel, Recorder
from squibwise.model.names import split_component
from squibwise.prove.fitted import USED
from squibwise.prove.gates import Context, has_label, replaced
from squibwise.prove.grades import (
    NOBODY,
    OPEN,
    SHOWN,
    STATED,
    UNASKED,
    is_shown,
    kept_photos,
    labels_of,
    name_of,
    scans_after,
    shows_anything,
    signed_items,
    signed_under,
    word_of,
)
from squibwise.prove.handed_over import DISPOSAL, UNSAID


def fitted_parts(context: Context) -> Iterator[dict[str, Any]]:
    """Yield every part that was fitted or has a label, with where it came from and its grade."""
    fitted = replaced(context)
    labels = {x.component for _, x in context.history.all_of(PartLabel)}
    for component in sorted(fitted.keys() | labels):
        label = label_of(context.history, component)
        done = context.history.entries[fitted[component]] if component in fitted else None
        yield {
            "component": component,
            "title": component_title(component, context.catalog),
            "fitted_on": done.time.date().isoformat() if done and done.time else "",
            "by": name_of(done, context.catalog),
            "number": label.number if label else "",
            "serial": label.serial if label else "",
            "made_on": label.made_on if label else "",
            "provenance": label.provenance if label else "",
            "donor_vin": (label.donor_vin or "") if label else "",
            "seller": label.seller if label else "",
            "recall_checked": label.recall_checked if label else None,
            "live": holds_charge(component, context.catalog),
            "grade": _grade_label(component, label, context),
            "with_assembly": came_with_assembly(
                component, fitted, context.case.profile, context.catalog
            ),
        }


def came_with_assembly(
    component: str, fitted: Collection[str], sold: Profile, catalog: Catalog
) -> bool:
    """Return whether a part lies inside an assembly whose leading part was fitted.

    By the catalogue, and by what the case says of how its parts are sold.
    """
    own = split_component(component)
    kinds = {n.kind for n in map(split_component, fitted) if n.place == own.place}
    return any(
        own.kind in a.held_kinds(sold) and kinds & {*a.key} for a in catalog.assemblies.values()
    )


def _grade_label(component: str, label: PartLabel | None, context: Context) -> str:
    if label is not None:
        return SHOWN if is_shown(label, context) else STATED
    return OPEN if has_label(component, context) else UNASKED


def photos(context: Context) -> Iterator[dict[str, Any]]:
    """Yield every photograph whose file is the one that was added, and whether it shows a thing."""
    for photo in kept_photos(context):
        picture = context.case.pictures.get(photo.file)
        yield {
            "id": photo.id,
            "file": photo.file,
            "sha256": context.case.files[photo.file],
            "copy_sha256": context.case.copies.get(photo.file, ""),
            "shows": shows_anything(photo.file, context),
            "same_as": picture.same_as if picture else "",
            "about": photo.component or photo.operation or "",
            "note": photo.note,
            "by": photo.by or "",
            "time": photo.time.isoformat() if photo.time else "",
        }


def answers(context: Context) -> list[dict[str, Any]]:
    """Return what the case answers to each question that a reader of records asks.

    The questions stand in the catalogue. Where nothing in the case answers one, it is ``open``.
    """
    return [
        {"id": q.id, "question": q.text, "readers": list(q.readers)} | _answer(q.id, context)
        for q in context.catalog.questions.values()
    ]


def _answer(question: str, context: Context) -> dict[str, str]:
    """Return what the entries answer to a question, and whether every one of them is shown."""
    found = _ANSWERS[question](context)
    texts = [text for text, _ in found]
    shown = all(is_shown(e, context) for _, of in found for e in of) and any(of for _, of in found)
    grade = OPEN if not found else SHOWN if shown else STATED
    return {"text": "; ".join(texts), "grade": grade}


Answer = list[tuple[str, Sequence[Evidence]]]
MOST_NAMED = 6


def _from_signature(*words: str) -> Callable[[Context], Answer]:
    """Return who answers a question by the last signature under these words, with its note."""

    def find(context: Context) -> Answer:
        return [(_in_words(e, context.catalog), [e]) for e in signed_under(*words)(context)]

    return find


def _in_words(entry: Evidence, catalog: Catalog) -> str:
    note = getattr(entry, "note", "") or ""
    on = entry.time.date().isoformat() if entry.time else "no day given"
    return ", ".join(part for part in (note, name_of(entry, catalog) or NOBODY, on) if part)


def _disposal(context: Context) -> Answer:
    """Return who signed that the old parts are gone, and what is not said of where to."""
    return [
        (_in_words(e, context.catalog) + ("" if getattr(e, "note", "") else f". {UNSAID}"), [e])
        for e in signed_under(*DISPOSAL)(context)
    ]


def _receipts(context: Context) -> Answer:
    return _told_together(labels_of(context), lambda x: f"{x.provenance}{_bought(x)}", context)


def _told_together(
    labels: Sequence[PartLabel], tell: Callable[[PartLabel], str], context: Context
) -> Answer:
    """Return parts of which the same is told together; many new ones are counted, not named."""
    groups: dict[str, list[PartLabel]] = {}
    for label in labels:
        groups.setdefault(tell(label), []).append(label)
    answer: Answer = []
    for told, alike in sorted(groups.items(), key=lambda g: g[1][0].provenance not in USED):
        names = [component_title(x.component, context.catalog) for x in alike]
        is_long = len(names) > MOST_NAMED and alike[0].provenance not in USED
        whom = f"{len(names)} parts" if is_long else ", ".join(names)
        answer.append((f"{whom}: {told}", alike))
    return answer


def _bought(label: PartLabel) -> str:
    seller = f", {label.seller}" if label.seller else ", seller not named"
    return f"{seller}, donor {label.donor_vin}" if label.donor_vin else seller


def _last_scan(context: Context) -> Answer:
    standing = judge_scan(context.history, context.catalog, context.case.car.vin)
    scan = standing.entry
    if scan is None or not scans_after(context):
        return []
    on = scan.time.isoformat(" ", "minutes") if scan.time else "no time given"
    return [(f"{scan.id}, {on}: {standing.outcome}", [scan])]


def _last_lamp(context: Context) -> Answer:
    standing = judge_lamp(context.history, context.catalog)
    check = standing.entry
    if check is None:
        return []
    on = check.time.isoformat(" ", "minutes") if check.time else "no time given"
    return [(f"{on}: {standing.outcome}", [check])]


def _not_replaced(context: Context) -> Answer:
    """Return what fired, or stands as unsound, and was not replaced."""
    enough = context.catalog.fact("release.spent-enough").number()
    fitted = replaced(context)
    kept = [
        component_title(b.id, context.catalog)
        for b in context.assessment.components
        if b.after_crash.fired >= enough and b.id not in fitted
    ]
    text = f"fired and not replaced: {', '.join(kept)}" if kept else "nothing that fired was left"
    looks: list[Evidence] = [w for w in context.history.entries if isinstance(w, DoneWork | Look)]
    return [(text, looks)] if fitted or kept or looks else []


def _used_live(context: Context) -> Answer:
    labels = labels_of(context)
    used = [
        x for x in labels if x.provenance in USED and holds_charge(x.component, context.catalog)
    ]
    if not used:
        return [("none by the labels on record", labels)] if labels else []
    return [(f"{x.component}: {x.provenance}, donor {x.donor_vin or '?'}", [x]) for x in used]


def _recalls(context: Context) -> Answer:
    checked = [x for x in labels_of(context) if x.recall_checked]
    signed = _from_signature("recall-lookup")(context)
    return signed or _told_together(checked, lambda _: "checked, no day given", context)


def _programmed(context: Context) -> Answer:
    units = [c for c in context.case.car.components if "control-unit" in c]
    return _from_signature(*(f"{u}:calibrate" for u in units), "program")(context)


def _crash_data(context: Context) -> Answer:
    files = [r for _, r in context.history.all_of(Recorder) if r.method == "recorder"]
    return [(f"{r.id}: {r.file or 'typed in by hand'}", [r]) for r in files]


def _calibrations(context: Context) -> Answer:
    titles = {i.id: i.title for i in context.work.items}
    return [
        (f"{titles.get(word_of(e), word_of(e))}: {_in_words(e, context.catalog)}", [e])
        for e in signed_items("calibrate")(context)
    ]


_ANSWERS: dict[str, Callable[[Context], Answer]] = {
    "receipts": _receipts,
    "procedure": _from_signature("maker-procedure"),
    "programmed": _programmed,
    "calibrated": _calibrations,
    "last-scan": _last_scan,
    "lamp": _last_lamp,
    "recall-lookup": _recalls,
    "not-replaced": _not_replaced,
    "used-live": _used_live,
    "disposal": _disposal,
    "crash-data": _crash_data,
    "lamp-returns": _from_signature("lamp-returns"),
    "answers": _from_signature("release"),
    "damage-photos": _from_signature("step:arrival-record", "arrival-record"),
}
