"""Proof: the gates with what each misses, signatures, verdicts, and the record before it is out."""

import datetime as dt
from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise import __version__
from squibwise import case as line
from squibwise.documents import record_pdf
from squibwise.documents.looking import LARGEST_FILE, take_pictures
from squibwise.entering.tick_order import LAMP, Tick, refuse_disorder
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.checking import refuse_altered
from squibwise.garage.database import connected
from squibwise.garage.keys import own_key, sign_finished
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.proof import ProofRecord
from squibwise.present.phrases import in_words, name
from squibwise.present.tell_checks import (
    FAULTS_GATE,
    LABELLED,
    REASONED,
    parts_to_label,
    tell_open_gates,
    tell_verdicts,
)
from squibwise.present.tell_record import tell_record
from squibwise.present.tell_visits import list_cautions
from squibwise.prove.recording import to_json
from squibwise.prove.verifying import read_record
from squibwise.web.bench import Bench, Opened
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import (
    Sent,
    common,
    enter,
    pick,
    read_number,
    refuse_stale,
    refuse_unnamed,
    sends,
)

SHOWN_MISSING = 5
ANSWERS = ("yes", "no")
MENDED = ("reseated", "repaired", "replaced")
"""What is done to a part so that its fault goes away."""


def gates(request: Request) -> Response:
    """Every gate of release, the open ones first, each with the way to close it."""
    opened, bench = opened_for(request), bench_of(request)
    whole = bench.whole(opened)
    return car_page(
        request,
        "prove.html",
        opened,
        step="prove",
        open_gates=tell_open_gates(opened.case, whole, bench.catalog),
        closed=[g for g in whole.gates if not g.open],
        cautions=list_cautions(whole.todo.operations),
        parts=[(c, name(c, bench.catalog)) for c in parts_to_label(whole)],
        shown=SHOWN_MISSING,
        labelled=LABELLED,
        mended=MENDED,
        reasoned=REASONED,
        scales=[
            (c, name(c, bench.catalog))
            for c in opened.case.car.components
            if split_component(c).kind == "occupant-sensor"
        ],
        verdicts=tell_verdicts(opened.case, whole.verdicts, bench.catalog),
    )


@sends
def sign(request: Request, sent: Sent) -> Response:
    """Write down what closes a gate: a signature, the lamp, the origin of a part."""
    opened, bench = opened_for(request), bench_of(request)
    make = _ENTRIES.get(sent.get("gate", 40))
    if make is None:
        raise InputError("This gate is not signed here.", remedy="Follow what it asks for.")
    refuse_unnamed(sent, "Say who signs.")
    refuse_stale(opened, sent)
    if sent.get("gate") not in {g.id for g in bench.whole(opened).gates if g.open}:
        raise InputError("This gate is closed already.", remedy="Go on with those that are open.")
    if sent.get("gate") == "lamp-check":  # no lamp lights before the power is on
        todo = bench.whole(opened).todo
        refuse_disorder(Tick(todo=todo, chosen=frozenset({LAMP}), catalog=bench.catalog))
    pick(sent, "component", opened.case.car.components)
    entry = make(sent) | common(sent)
    enter(request, opened, sent, f"signed {in_words(sent.get('gate', 40))}", lambda _: (entry,))
    return go(f"/car/{opened.id}/prove")


def _passed(word: str, *, noted: str = "") -> Callable[[Sent], dict[str, Any]]:
    """Return what makes the signature under a word; ``noted`` says what its note must name."""

    def make(sent: Sent) -> dict[str, Any]:
        note = sent.get("note", 400)
        if noted and not note:
            raise InputError(f"Not named: {noted}.", remedy="Write it into the note.")
        entry = {"kind": "passed", "what": word, "result": "passed"}
        return entry | ({"note": note} if note else {})

    return make


def _mended(sent: Sent) -> dict[str, Any]:
    """Return what was done to a part whose fault went away, or who says what was found."""
    part, note = sent.get("component"), sent.get("note", 400)
    done = pick(sent, "done", (*MENDED, "nothing"))
    if not part or not done:
        told = "Nobody says what was done."
        raise InputError(told, remedy="Choose what was done, or that nothing was.")
    if done != "nothing":
        return {"kind": "done", "what": done, "component": part}
    if not note:
        raise InputError("Not named: what was found.", remedy="Write it into the note.")
    return {"kind": "passed", "what": f"{part}:trace", "result": "passed", "note": note}


def _lamp(sent: Sent) -> dict[str, Any]:
    if sent.get("note"):
        return _passed("lamp-check")(sent)
    seconds, lit = read_number(sent, "out_after_s"), pick(sent, "lit", ANSWERS)
    stayed = pick(sent, "stayed_out", ANSWERS)
    if not lit:
        raise InputError("Nobody says whether the lamp lit.", remedy="Choose yes or no.")
    entry: dict[str, Any] = {"kind": "lamp-check", "lit": lit == "yes"}
    entry |= {} if seconds is None else {"out_after_s": seconds}
    return entry | ({"stayed_out": stayed == "yes"} if stayed else {})


def _label(sent: Sent) -> dict[str, Any]:
    if not sent.get("component"):
        raise InputError("No part is named.", remedy="Choose the part.")
    if not sent.get("number"):
        raise InputError("The number is missing.", remedy="It stands on the label of the part.")
    keys = ("component", "number", "serial", "provenance", "donor_vin", "seller")
    entry: dict[str, Any] = {k: sent.get(k, 120) for k in keys if sent.get(k, 120)}
    checked = pick(sent, "recall_checked", ANSWERS)
    return (
        {"kind": "part-label"} | entry | ({"recall_checked": checked == "yes"} if checked else {})
    )


_ENTRIES: dict[str, Callable[[Sent], dict[str, Any]]] = {
    "cautions-read": _passed("cautions"),
    "answerable": _passed("release"),
    "maker-procedure": _passed("maker-procedure", noted="the document and its edition"),
    "disposal": _passed(
        "step:dispose", noted="who took the old airbags and pretensioners, and how"
    ),
    **{gate: _passed(gate, noted="the reason") for gate in REASONED},
    "lamp-check": _lamp,
    FAULTS_GATE: _mended,
    **dict.fromkeys(LABELLED, _label),
}


def _record(bench: Bench, opened: Opened) -> ProofRecord:
    with connected(bench.place) as garage:
        refuse_altered(garage, opened.id)
    today = dt.date.today()
    key = ("record", opened.id, opened.seen, today)

    def make() -> ProofRecord:
        case, _ = _pictures(bench, opened)
        made = line.record(case, bench.whole(opened), bench.catalog, today, __version__)
        signed = sign_finished(made, opened.case, bench.place.parent, today)
        return read_record(to_json(signed))  # as a reader of the file has it

    return bench.keep(key, make)


def preview(request: Request) -> Response:
    """The record as it would be issued now; a draft while a gate is open."""
    opened, bench = opened_for(request), bench_of(request)
    record = _record(bench, opened)
    return car_page(
        request,
        "record.html",
        opened,
        step="prove",
        record=record,
        sheet=tell_record(record),
    )


def pdf(request: Request) -> Response:
    """The record as PDF, with its data attached."""
    opened, bench = opened_for(request), bench_of(request)
    record = _record(bench, opened)

    def make() -> bytes:
        key = own_key(bench.place.parent) if record.signature else None
        (_, pictures), fonts = _pictures(bench, opened), bench.place.parent / "fonts"
        return record_pdf(record, pictures=pictures, key=key, fonts=fonts)

    data = bench.keep(("pdf", record.digest), make)
    return _file(data, f"{opened.id}{'-draft' if record.draft else ''}.pdf", "application/pdf")


def _pictures(bench: Bench, opened: Opened) -> tuple[Case, dict[str, bytes]]:
    """Return the case with what its record says of its pictures, and the copies that it holds."""

    def make() -> tuple[Case, dict[str, bytes]]:
        with connected(bench.place) as garage:

            def read(name: str) -> bytes:
                data = store.content(garage, opened.id, {name}).get(name, b"")
                return data if len(data) <= LARGEST_FILE else b""

            return take_pictures(opened.case, read, bench.catalog)

    return bench.keep(("photographs", opened.id, opened.seen), make)


def data(request: Request) -> Response:
    """The record as canonical JSON."""
    opened, bench = opened_for(request), bench_of(request)
    record = _record(bench, opened)
    return _file(to_json(record), f"{opened.id}.json", "application/json")


def _file(content: bytes, file_name: str, kind: str) -> Response:
    headers = {"content-disposition": f'inline; filename="{file_name}"'}
    return Response(content, media_type=kind, headers=headers)
