"""What the pages show, as plain text in order: the template only lays it out."""

from typing import Any

from squibwise.documents import view_grounds, view_work, wording
from squibwise.model.proof import ProofRecord

Json = dict[str, Any]
MOST_DOUBTFUL = 12
LIKELY = 0.5
WORTH = 0.05  # causes are named from here
RECORD = "crash-record"
LONGEST_TITLE, LONGEST_HEADER = 120, 48


def view(record: ProofRecord) -> Json:
    """Return everything the pages of a record show, in the order they show it."""
    content = record.content
    cautions = view_work.cautions(content)
    return {
        "head": _head(record),
        "texts": content["texts"],
        "hazards": _hazards(content),
        "event": _event(content["event"]),
        "fired": _fired(content, "fired"),
        "perhaps": _fired(content, "perhaps"),
        "doubtful": _doubtful(content),
        "gates": [view_work.gate(g) for g in record.gates if g.open],
        "closed": [g.text for g in record.gates if not g.open],
        "cautions": cautions,
        "work": view_work.work(content, cautions),
        "costs": view_work.costs(content),
        "verdicts": view_work.verdicts(content),
        "components": [view_grounds.component(c) for c in content["components"]],
        "contradictions": [f"{c['text']} {c['remedy']}".strip() for c in content["contradictions"]],
        "explained": _signed(content, "contradictions"),
        "procedure": _signed(content, "maker-procedure"),
        "answers": _signed(content, "release"),
        "evidence": [row for e in content["evidence"] for row in view_grounds.evidence(e)],
        "files": [list(pair) for pair in sorted(record.attachments.items())],
        "assumptions": [view_grounds.assumption(a) for a in content["assumptions"]],
        "weak": view_grounds.weak(content["weak"]),
        "sources": [view_grounds.source(s) for s in content["sources"]],
        "notices": [view_grounds.notice(n) for n in content["work"]["notices"]],
        "papers": [[bool(p["there"]), p["text"]] for p in content["papers"]],
        "findings": [view_grounds.finding(f) for f in view_grounds.all_findings(content)],
    }


def _head(record: ProofRecord) -> Json:
    content = record.content
    car = content["car"]
    guessed = " (guessed from the year; nobody stated it)" if car["assumed"] else ""
    return {
        "title": wording.cut(content["title"] or record.case_id, LONGEST_TITLE),
        "short": wording.cut(content["title"] or record.case_id, LONGEST_HEADER),
        "case": wording.cut(record.case_id, LONGEST_HEADER),
        "issued": record.issued_on,
        "draft": record.draft,
        "open": sum(1 for g in record.gates if g.open),
        "gates": len(record.gates),
        "digest": record.digest,
        "signed": record.signature.by if record.signature else None,
        "paper": "us-letter" if (content["region"] or "").startswith("US") else "a4",
        "car": [
            ["VIN", car["vin"] or "not given"],
            ["Model year", str(car["model_year"] or "not known")],
            ["Driver sits on the", car["drive_hand"]],
            ["Equipment", f"{car['equipment']}{guessed}"],
            ["Region", content["region"] or "not stated"],
            ["Rules followed", _rules(content)],
        ],
    }


def _rules(content: Json) -> str:
    profile = content["work"]["profile"]
    if profile == "unknown":
        return "the maker's are not entered: the strictest of every profile"
    return str(profile)


def _signed(content: Json, word: str) -> str:
    """Return what was last signed for under a word, with the name; empty when nothing was."""
    rows = [e for e in content["evidence"] if e["type"] == "passed" and e["what"] == word]
    if not rows or rows[-1]["result"] != "passed":
        return ""
    last = rows[-1]
    return ", ".join(
        part for part in (last["note"], last["by"], wording.moment(last["time"])) if part
    )


def _hazards(content: Json) -> Json:
    rows = content["live_charges"]
    return {
        "looks_spent": [
            f"{r['title']}: charge {wording.listed(r['stages'])}" for r in rows if r["looks_spent"]
        ],
        "live": [r["title"] for r in rows if not r["looks_spent"]],
    }


def _event(event: Json) -> list[list[str]]:
    zones = sorted(event["zones"].items(), key=lambda z: (-z[1], z[0]))
    struck = [f"{z.replace('-', ' ')} {wording.percent(p)}" for z, p in zones if p >= 0.05]
    if event["no_crash"] >= LIKELY:
        return [["No crash at all", wording.percent(event["no_crash"])], *_causes(event["causes"])]
    return [
        ["Struck", wording.listed(struck) or "nothing that is known"],
        ["Change of speed", _speed(event["delta_v_kmh"])],
        ["Driver belted", wording.percent(event["driver_belted"])],
        ["Front passenger", _classes(event["front_passenger"])],
        ["Passenger belted", wording.percent(event["passenger_belted"])],
        ["Rollover", wording.percent(event["rollover"])],
        ["No crash at all", wording.percent(event["no_crash"])],
        *_causes(event["causes"]),
    ]


def _causes(causes: dict[str, float]) -> list[list[str]]:
    """Return the crash record, and what may stand behind several codes; a place once."""
    shared = {c: p for c, p in causes.items() if p >= WORTH and c != RECORD}
    named = [
        f"{wording.cause(c)} {wording.percent(p)}"
        for c, p in sorted(shared.items(), key=lambda item: (-item[1], item[0]))
        if not any(other.startswith(f"{c}.") for other in shared)
    ]
    recorded = causes.get(RECORD, 0.0)
    record = [["Crash record in the unit", wording.percent(recorded)]] if recorded >= WORTH else []
    return record + ([["Shared causes", wording.listed(named)]] if named else [])


def _speed(speed: Json | None) -> str:
    if speed is None:
        return "no crash, or not known"
    return f"about {speed['p50']:.0f} km/h ({speed['p10']:.0f} to {speed['p90']:.0f})"


def _classes(classes: Json) -> str:
    rows = sorted(classes.items(), key=lambda c: -c[1])
    return ", ".join(f"{name} {wording.percent(p)}" for name, p in rows)


def _fired(content: Json, word: str) -> list[list[str]]:
    rows = [c for c in content["components"] if c["fired_in_crash"] == word]
    rows.sort(key=lambda c: -c["after_crash"]["fired"])
    return [[c["title"], wording.percent(c["after_crash"]["fired"])] for c in rows]


def _doubtful(content: Json) -> list[list[str]]:
    """Return what is in doubt: what a look pays for first, then charges, then the least sure."""
    order = {look["component"]: n for n, look in enumerate(content["next_looks"])}
    rows = [c for c in content["components"] if c["doubtful"]]
    rows.sort(key=lambda c: (order.get(c["id"], len(order)), not c["stages"], c["now"]["sound"]))
    shown = [[c["title"], wording.states(c["now"]), c["look"]] for c in rows[:MOST_DOUBTFUL]]
    hidden = len(rows) - len(shown)
    return shown + ([[f"and {hidden} more", "", "see Open gates and Components"]] if hidden else [])
