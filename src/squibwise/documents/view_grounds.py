"""Components, evidence and sources, as the pages show them."""

from typing import Any

from squibwise.documents import wording
from squibwise.documents.view_work import because, ground

Json = dict[str, Any]
MOST_LINES = 200
MOST_WEAK = 60


def component(stated: Json) -> Json:
    """Return one component with its states and strongest reasons."""
    after, now = wording.states(stated["after_crash"]), wording.states(stated["now"])
    return {
        "title": stated["title"],
        "id": stated["id"],
        "after_crash": after,
        "now": "the same" if now == after else now,
        "stages": [_stage(s, b) for s, b in stated["stages"].items()],
        "because": [_weighed(b) for b in stated["because"][:2]],
    }


def _stage(stage: str, belief: Json) -> str:
    rows = sorted(((p, word) for word, p in belief.items()), reverse=True)
    return f"{stage}: {rows[0][1]} {wording.percent(rows[0][0])}"


def _weighed(reason: Json) -> str:
    if reason["alone_db"] is None:
        return because(reason)
    last = "" if reason["last_db"] is None else f"\u00a0/\u00a0{reason['last_db']:+.1f}"
    return f"{because(reason)} [{reason['alone_db']:+.1f}{last}\u00a0dB]"


def evidence(stated: Json) -> list[Json]:
    """Return one row for a piece of evidence, and one for each line of a scan."""
    where = wording.origin(stated["origin"])
    rows = [
        {
            "id": stated["id"],
            "time": wording.moment(stated["time"]),
            "text": wording.evidence(stated),
            "by": stated.get("by") or stated["origin"]["person"] or "",
            "where": where,
        }
    ]
    if stated["type"] != "report":
        return rows
    lines = stated["reading"]["lines"]
    rows += [_code_line(line) for line in lines[:MOST_LINES]]
    unread = stated["reading"]["unread"]
    rows += [_row(f"line {u['line']}", f"not understood: {u['raw']}") for u in unread[:MOST_LINES]]
    hidden = max(0, len(lines) - MOST_LINES) + max(0, len(unread) - MOST_LINES)
    return rows + (
        [_row("", f"and {hidden} more line(s) in the attached record")] if hidden else []
    )


def _code_line(line: Json) -> Json:
    meant = line["component"] or line["kind"] or "part not clear"
    status = f", {' '.join(line['status'])}" if line["status"] else ""
    return _row(
        f"line {line['line']}", f"{line['raw'].strip()} -> {meant}: {line['fault']}{status}"
    )


def _row(id_: str, text: str) -> Json:
    return {"id": id_, "time": "", "text": text, "by": "", "where": ""}


def assumption(stated: Json) -> str:
    """Return what was taken for granted, with its basis."""
    return f"{stated['text']} ({stated['basis']})"


def weak(rows: list[Json]) -> list[str]:
    """Return what rests on judgement or memory alone, the long tail counted."""
    shown = [_weak(w) for w in rows[:MOST_WEAK]]
    hidden = len(rows) - len(shown)
    return shown + ([f"and {hidden} more in the attached record"] if hidden else [])


def _weak(fact: Json) -> str:
    if "value" not in fact:
        return f"{fact['id']} ({fact['basis']})"
    unit = "" if fact["unit"] == "-" else f" {fact['unit']}"
    reach = "" if fact["low"] is None else f", {fact['low']} to {fact['high']}{unit}"
    return f"{fact['id']} = {fact['value']}{unit}{reach} ({fact['basis']}). {fact['note']}".strip()


def source(stated: Json) -> list[str]:
    """Return a citation as a row."""
    return [stated["id"], f"{stated['title']}. {stated['by']}. {stated['note']}", stated["kind"]]


def notice(stated: Json) -> Json:
    """Return a notice with what it stands on."""
    return {"text": stated["text"], "ground": ground(stated)}


def all_findings(content: Json) -> list[Json]:
    """Return the findings about the case and about its work."""
    return [*content["findings"], *content["work"]["findings"]]


def finding(stated: Json) -> list[str]:
    """Return a finding as a row."""
    where = wording.origin(stated["origin"])
    return [stated["severity"], f"{stated['message']} {stated['remedy']}".strip(), where]
