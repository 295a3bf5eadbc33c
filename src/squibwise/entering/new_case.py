"""Make a case folder with a commented case file; nothing that is there is touched."""

import datetime as dt
import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import msgspec
import tomlkit

from squibwise.catalog.load import Catalog
from squibwise.entering.case_text import load_written
from squibwise.errors import InputError
from squibwise.garage.writing import write_folder
from squibwise.history.prices import LABOUR
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import parse, read_bytes
from squibwise.intake.importers.base import MAX_BYTES

TEMPLATE = Path(__file__).parent / "case-template.toml"
_REPORT = '[[evidence]]\nkind = "report"\nid = "{id}"\nfile = {file}\n\n'


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """A case folder that was just made."""

    id: str
    folder: Path
    files: tuple[Path, ...]


class Stated(msgspec.Struct, frozen=True, kw_only=True):
    """What a person states of a new case; empty = not known.

    Attributes:
        title: One line.
        vin: 17 characters.
        year: Model year.
        region: ISO 3166 code of where it will be registered.
        drive: Side the driver sits on.
        equipment: A template of the catalogue.
        currency: ISO 4217 code.
    """

    title: str = ""
    vin: str = ""
    year: str = ""
    region: str = ""
    drive: str = ""
    equipment: str = ""
    currency: str = ""


_KEYS = {"year": "model_year", "drive": "drive_hand"}


def make(
    folder: Path,
    catalog: Catalog,
    reports: tuple[Path, ...] = (),
    stated: Stated = Stated(),  # noqa: B008 - a record that nobody can change
) -> Made:
    """Write ``case.toml`` and ``evidence/`` into a folder, with copies of reports.

    Args:
        folder: New or empty.
        catalog: To check what is stated against.
        reports: Scan reports to copy.
        stated: What is known of the car.

    Raises:
        InputError: The folder already holds something, a report cannot be read, or something that
            is stated is wrong.
    """
    copies = _copies(reports)
    stated = complete(stated, catalog)
    case_id = re.sub(r"[^A-Za-z0-9._-]+", "-", folder.absolute().name).strip("-.") or "case"
    text = _with_stated(template(case_id, tuple(copies)), stated)
    load_written(_with_stated(template(case_id), stated), folder / CASE_FILE, catalog)
    files = {f"evidence/{name}": data for name, data in copies.items()}
    write_folder(folder, {CASE_FILE: text.encode("utf-8")} | files, empty=["evidence"])
    written = (folder / CASE_FILE, *(folder / "evidence" / name for name in copies))
    return Made(id=case_id, folder=folder, files=written)


def complete(stated: Stated, catalog: Catalog) -> Stated:
    """Return what is stated with the money and the driver's side of its region, where left open."""
    country, known = stated.region[:2].upper(), catalog.currencies
    if country not in known.regions:
        return stated
    return msgspec.structs.replace(
        stated,
        currency=stated.currency or known.regions[country],
        drive=stated.drive or ("right" if country in known.right_hand else "left"),
    )


def _copies(reports: tuple[Path, ...]) -> dict[str, bytes]:
    copies: dict[str, bytes] = {}
    for path in reports:
        if path.name in copies:
            message = f"two reports are called '{path.name}'."
            raise InputError(message, remedy="Rename one of them.")
        copies[path.name] = read_bytes(path, MAX_BYTES)
    return copies


def _with_stated(text: str, stated: Stated) -> str:
    """Return the template with what is stated filled in, each in its own line."""
    for field, value in msgspec.structs.asdict(stated).items():
        if not value:
            continue
        key = _KEYS.get(field, field)
        written = value if field == "year" and value.isdecimal() else json.dumps(value)
        line = re.compile(rf'^#?{key} = (?:"[^"]*"|[^#\n]*?)(?P<tail>\s*(?:#.*)?)$', re.MULTILINE)
        text = line.sub(lambda m, k=key, w=written: f"{k} = {w}{m['tail']}", text, count=1)  # type: ignore[misc]
    return text


def template(case_id: str, reports: tuple[str, ...] = ()) -> str:
    """Return the commented case file of a new case."""
    named = ((n, json.dumps(f"evidence/{r}", ensure_ascii=False)) for n, r in enumerate(reports, 1))
    entries = (_REPORT.format(id=f"scan-{n}", file=file) for n, file in named)
    text = TEMPLATE.read_text(encoding="utf-8").replace("CASE-ID", case_id[:64])
    return text.replace("# REPORTS\n", "".join(entries))


def copy_like(text: str, stated: Stated, case_id: str) -> str:
    """Return the case file of a new car that is equipped like another one.

    Args:
        text: Case file of the other car: its equipment, rules, region and prices are taken over,
            nothing that was seen, read or done.
        stated: What is known of the new car; it goes before.
        case_id: Its id.

    Raises:
        InputError: The other case file cannot be read.
    """
    parse(text, CASE_FILE)  # within its bounds
    document = tomlkit.parse(text)
    for key in ("evidence", "codes", "parts"):
        document.pop(key, None)
    case, car = document.setdefault("case", tomlkit.table()), document.setdefault("car", {})
    if not (isinstance(case, dict) and isinstance(car, dict)):
        remedy = "Choose another car to start from."
        raise InputError("the case file of the other car has no [case] or [car].", remedy=remedy)
    case["id"], case["title"] = case_id, stated.title
    car.pop("vin", None)
    year = int(stated.year) if stated.year.isdecimal() else ""
    _put(case, (("region", stated.region), ("currency", stated.currency)))
    _put(car, (("vin", stated.vin), ("drive_hand", stated.drive), ("model_year", year)))
    _put(car, (("equipment", stated.equipment),))
    return tomlkit.dumps(document)


def equip(text: str, equipment: str) -> str:
    """Return a case file that states which template of the catalogue the car is equipped as."""
    parse(text, CASE_FILE)  # within its bounds
    document = tomlkit.parse(text)
    _put(document.setdefault("car", tomlkit.table()), (("equipment", equipment),))
    return tomlkit.dumps(document)


def state_figure(text: str, field: str, value: float, source: str) -> str:
    """Return a case file that states a figure of the maker, and where it stands."""
    parse(text, CASE_FILE)  # within its bounds
    document = tomlkit.parse(text)
    given = tomlkit.inline_table()
    given.update({"value": value, "source": source})
    _put(document.setdefault("profile", tomlkit.table()), ((field, given),))
    return tomlkit.dumps(document)


def price_hour(text: str, amount: float, on: dt.date) -> str:
    """Return a case file that states what an hour of work costs, in its own currency."""
    return state_price(text, LABOUR, (amount, amount, amount), on)


def state_price(text: str, what: str, amounts: tuple[float, float, float], on: dt.date) -> str:
    """Return a case file that states what something costs, in its own currency.

    Args:
        text: The case file.
        what: What it is priced under: a component or kind, a task, or an hour of work.
        amounts: Low, likely and high, in whole units.
        on: When it was stated.
    """
    parse(text, CASE_FILE)  # within its bounds
    document = tomlkit.parse(text)
    if "price" not in document:
        document["price"] = tomlkit.aot()
    prices: Any = document["price"]
    stated = next((p for p in prices if p.get("what") == what), None)
    if stated is None:
        prices.append(tomlkit.table())
        stated = prices[-1]
    figures = dict(zip(("low", "likely", "high"), amounts, strict=True))
    stated.update({"what": what, **figures, "source": "stated by the shop", "on": on})
    return tomlkit.dumps(document)


def _put(table: Any, pairs: Iterable[tuple[str, Any]]) -> None:  # noqa: ANN401 - of tomlkit
    """Set what is stated."""
    for key, value in pairs:
        if value:
            table[key] = value
