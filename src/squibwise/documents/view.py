"""What the pages show, as plain text in order: the template only lays it out."""

from typing import Any

from squibwise.documents import wording
from squibwise.model.proof import ProofRecord

Json = dict[str, Any]
MOST_LINES = 200
MOST_MISSING = 8
MOST_WEAK = 60
SHOWN_CHANCE = 0.99
LABOUR = "labour-hour"
STRICTEST = "strictest of all"


def view(record: ProofRecord) -> Json:
    """Return everything the pages of a record show, in the order they show it."""
    content = record.content
    cautions = _cautions(content)
    return {
        "head": _head(record),
        "texts": content["texts"],
        "hazards": _hazards(content),
        "event": _event(content["event"]),
        "fired": _fired(content, "fired"),
        "perhaps": _fired(content, "perhaps"),
        "doubtful": _doubtful(content),
        "gates": [_gate(g) for g in record.gates if g.open],
        "closed": [g.text for g in record.gates if not g.open],
        "cautions": cautions,
        "work": _work(content, cautions),
        "costs": _costs(content),
        "verdicts": _verdicts(content),
        "components": [_component(c) for c in content["components"]],
        "contradictions": [f"{c['text']} {c['remedy']}".strip() for c in content["contradictions"]],
        "evidence": [row for e in content["evidence"] for row in _evidence(e)],
        "files": [list(pair) for pair in sorted(record.attachments.items())],
        "assumptions": [_assumption(a) for a in content["assumptions"]],
        "weak": _weak_rows(content["weak"]),
        "sources": [_source(s) for s in content["sources"]],
        "notices": [_notice(n) for n in content["work"]["notices"]],
        "findings": [_finding(f) for f in _all_findings(content)],
    }


def _head(record: ProofRecord) -> Json:
    content = record.content
    car = content["car"]
    guessed = " (guessed from the year; nobody stated it)" if car["assumed"] else ""
    return {
        "title": content["title"] or record.case_id,
        "case": record.case_id,
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
    speed = event["delta_v_kmh"]
    shown = [
        ["Struck", wording.listed(struck) or "nothing that is known"],
        ["Change of speed", _speed(speed)],
        ["Driver belted", wording.percent(event["driver_belted"])],
        ["Front passenger", _classes(event["front_passenger"])],
        ["Passenger belted", wording.percent(event["passenger_belted"])],
        ["Rollover", wording.percent(event["rollover"])],
        ["No crash at all", wording.percent(event["no_crash"])],
    ]
    causes = [f"{c} {wording.percent(p)}" for c, p in event["causes"].items() if p >= 0.05]
    return shown + ([["Shared causes", wording.listed(causes)]] if causes else [])


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
    rows = [c for c in content["components"] if c["doubtful"]]
    rows.sort(key=lambda c: c["now"]["sound"])
    none = "no single look is known to settle it"
    return [[c["title"], wording.states(c["now"]), c["look"] or none] for c in rows]


def _gate(gate: Any) -> Json:  # noqa: ANN401 - a Gate record
    missing = list(gate.missing)
    hidden = len(missing) - MOST_MISSING
    if hidden > 1:
        missing[MOST_MISSING:] = [f"and {hidden} more, all in the list of work or the record"]
    return {
        "text": gate.text,
        "remedy": gate.remedy,
        "missing": missing,
        "count": len(gate.missing),
    }


def _cautions(content: Json) -> list[Json]:
    """Return every caution of the work once, numbered in the order it is met."""
    found = {c["id"]: c for i in content["work"]["items"] for c in i["cautions"]}
    return [
        {"number": n, "id": c["id"], "text": c["text"], "ground": _ground(c)}
        for n, c in enumerate(found.values(), start=1)
    ]


def _ground(stated: Json) -> str:
    """Return what a caution or a notice stands on, in brackets, as far as stated."""
    grounds = [g for g in (stated["source"], stated.get("basis")) if g]
    return f"({', '.join(dict.fromkeys(grounds))})" if grounds else ""


def _work(content: Json, cautions: list[Json]) -> list[Json]:
    items = content["work"]["items"]
    numbers = {i["id"]: n for n, i in enumerate(items, start=1)}
    signs = {c["id"]: c["number"] for c in cautions}
    return [_item(i, numbers, signs) for i in items]


def _item(item: Json, numbers: Json, signs: Json) -> Json:
    after = sorted(numbers[a] for a in item["after"] if a in numbers)
    return {
        "number": numbers[item["id"]],
        "done": item["done"],
        "title": item["title"],
        "id": item["id"],
        "strict": item["strict"],
        "chance": _chance(item["probability"]),
        "hold": wording.duration(item["hold_minutes"]) if item["hold_minutes"] else "",
        "minutes": wording.duration(item["minutes"]) if item["minutes"] else "",
        "after": wording.listed([str(a) for a in after], 4),
        "cautions": wording.listed([str(signs[c["id"]]) for c in item["cautions"]], 20),
        "tools": wording.listed(item["tools"], 10),
        "passes_when": item["passes_when"],
        "blocked_by": wording.listed(item["blocked_by"]),
        "because": _because(item["because"][0]) if item["because"] else "",
    }


def _chance(probability: float) -> str:
    return wording.percent(probability) if probability < SHOWN_CHANCE else ""


def _because(reason: Json) -> str:
    tail = [*reason["sources"], *([reason["weak"]] if reason["weak"] else [])]
    grounds = f" ({', '.join(dict.fromkeys(tail))})" if tail else ""
    return f"{reason['text']}{grounds}"


def _costs(content: Json) -> Json | None:
    if not content["costs"]:
        return None
    first = content["costs"][0]
    return {
        "profiles": [_cost(c) for c in content["costs"]],
        "lines": _cost_lines(first, content["currency"]),
        "followed": _profile(first["profile"]),
        "unpriced": first["unpriced"],
        "notes": list(dict.fromkeys(f["message"] for c in content["costs"] for f in c["findings"])),
    }


def _cost(cost: Json) -> list[str]:
    sums = [wording.money(cost[k]) for k in ("low", "likely", "high")]
    unpriced = len(cost["unpriced"])
    return [
        _profile(cost["profile"]),
        *sums,
        wording.duration(cost["minutes"]),
        str(unpriced or ""),
    ]


def _profile(name: str) -> str:
    return STRICTEST if name == "unknown" else name


def _cost_lines(cost: Json, currency: str) -> list[list[str]]:
    """Return a row for each thing to buy, and one for all the work that is paid by the hour."""
    lines = cost["lines"]
    hourly = [x for x in lines if x["what"] == LABOUR]
    rows = [_cost_line(x) for x in lines if x["what"] != LABOUR]
    return rows + ([_hourly(hourly, currency)] if hourly else [])


def _cost_line(line: Json) -> list[str]:
    sums = [wording.money(line[k]) for k in ("low", "likely", "high")]
    if line["likely"] is None:
        sums = ["", "not priced", ""]
    return [line["item"], line["what"], wording.percent(line["probability"]), *sums]


def _hourly(lines: list[Json], currency: str) -> list[str]:
    name = f"work on {len(lines)} items, if all are needed"
    if any(x["likely"] is None for x in lines):
        return [name, LABOUR, "", "", "not priced", ""]
    sums = [sum(x[k]["minor"] for x in lines) for k in ("low", "likely", "high")]
    shown = [wording.money({"minor": s, "currency": currency}) for s in sums]
    return [name, LABOUR, "", *shown]


def _verdicts(content: Json) -> list[list[str]]:
    return [
        [v["what"], v["outcome"], f"{v['text']} {v['decide']}".strip()] for v in content["verdicts"]
    ]


def _component(component: Json) -> Json:
    return {
        "title": component["title"],
        "id": component["id"],
        "after_crash": wording.states(component["after_crash"]),
        "now": wording.states(component["now"]),
        "stages": [_stage(s, b) for s, b in component["stages"].items()],
        "because": [_weighed(b) for b in component["because"][:2]],
    }


def _stage(stage: str, belief: Json) -> str:
    rows = sorted(((p, word) for word, p in belief.items()), reverse=True)
    return f"{stage}: {rows[0][1]} {wording.percent(rows[0][0])}"


def _weighed(reason: Json) -> str:
    if reason["alone_db"] is None:
        return _because(reason)
    return f"{_because(reason)} [{reason['alone_db']:+.1f} dB]"


def _evidence(evidence: Json) -> list[Json]:
    """Return one row for a piece of evidence, and one for each line of a scan."""
    where = wording.origin(evidence["origin"])
    rows = [
        {
            "id": evidence["id"],
            "time": wording.moment(evidence["time"]),
            "text": wording.evidence(evidence),
            "by": evidence.get("by") or evidence["origin"]["person"] or "",
            "where": where,
        }
    ]
    if evidence["type"] != "report":
        return rows
    lines = evidence["reading"]["lines"]
    rows += [_code_line(line) for line in lines[:MOST_LINES]]
    unread = evidence["reading"]["unread"]
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


def _assumption(assumption: Json) -> str:
    return f"{assumption['text']} ({assumption['basis']})"


def _weak_rows(rows: list[Json]) -> list[str]:
    shown = [_weak(w) for w in rows[:MOST_WEAK]]
    hidden = len(rows) - len(shown)
    return shown + ([f"and {hidden} more in the attached record"] if hidden else [])


def _weak(weak: Json) -> str:
    if "value" not in weak:
        return f"{weak['id']} ({weak['basis']})"
    unit = "" if weak["unit"] == "-" else f" {weak['unit']}"
    reach = "" if weak["low"] is None else f", {weak['low']} to {weak['high']}{unit}"
    return f"{weak['id']} = {weak['value']}{unit}{reach} ({weak['basis']}). {weak['note']}".strip()


def _source(source: Json) -> list[str]:
    return [source["id"], f"{source['title']}. {source['by']}. {source['note']}", source["kind"]]


def _notice(notice: Json) -> Json:
    return {"text": notice["text"], "ground": _ground(notice)}


def _all_findings(content: Json) -> list[Json]:
    return [*content["findings"], *content["work"]["findings"]]


def _finding(finding: Json) -> list[str]:
    where = wording.origin(finding["origin"])
    return [finding["severity"], f"{finding['message']} {finding['remedy']}".strip(), where]
