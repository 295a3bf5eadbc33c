"""The work, its cautions, gates and cost, as the pages show them."""

from typing import Any

from squibwise.documents import wording
from squibwise.model.proof import Gate

Json = dict[str, Any]
MOST_MISSING = 8
SHOWN_CHANCE = 0.99
LABOUR = "labour-hour"
STRICTEST = "strictest of all"


def gate(asked: Gate) -> Json:
    """Return an open gate with what is missing, the long tail counted."""
    missing = list(asked.missing)
    hidden = len(missing) - MOST_MISSING
    if hidden > 1:
        missing[MOST_MISSING:] = [f"and {hidden} more, all in the list of work or the record"]
    return {
        "text": asked.text,
        "remedy": asked.remedy,
        "missing": missing,
        "count": len(asked.missing),
    }


def cautions(content: Json) -> list[Json]:
    """Return every caution of the work once, numbered in the order it is met."""
    found = {c["id"]: c for i in content["work"]["items"] for c in i["cautions"]}
    return [
        {"number": n, "id": c["id"], "text": c["text"], "ground": ground(c)}
        for n, c in enumerate(found.values(), start=1)
    ]


def ground(stated: Json) -> str:
    """Return what a caution or a notice stands on, in brackets, as far as stated."""
    grounds = [g for g in (stated["source"], stated.get("basis")) if g]
    return f"({', '.join(dict.fromkeys(grounds))})" if grounds else ""


def work(content: Json, numbered: list[Json]) -> list[Json]:
    """Return the work in order, with numbers instead of ids where a person looks things up."""
    items = content["work"]["items"]
    numbers = {i["id"]: n for n, i in enumerate(items, start=1)}
    signs = {c["id"]: c["number"] for c in numbered}
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
        "because": because(item["because"][0]) if item["because"] else "",
    }


def _chance(probability: float) -> str:
    return wording.percent(probability) if probability < SHOWN_CHANCE else ""


def because(reason: Json) -> str:
    """Return a reason with what it stands on."""
    tail = [*reason["sources"], *([reason["weak"]] if reason["weak"] else [])]
    grounds = f" ({', '.join(dict.fromkeys(tail))})" if tail else ""
    return f"{reason['text']}{grounds}"


def costs(content: Json) -> Json | None:
    """Return the sums by profile and what is to be bought; None in a copy without prices."""
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
    sums = [sum(int(x[k]["minor"]) for x in lines) for k in ("low", "likely", "high")]
    shown = [wording.money({"minor": s, "currency": currency}) for s in sums]
    return [name, LABOUR, "", *shown]


def verdicts(content: Json) -> list[list[str]]:
    """Return every checked limit as a row."""
    return [
        [v["what"], v["outcome"], f"{v['text']} {v['decide']}".strip()] for v in content["verdicts"]
    ]
