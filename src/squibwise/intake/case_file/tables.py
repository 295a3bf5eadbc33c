"""Turn one raw table into its record, and report everything that does not fit at once."""

from typing import Any, TypeVar

import msgspec
from msgspec import NODEFAULT, inspect

from squibwise.intake.case_file.checks import CHECKS
from squibwise.intake.case_file.locate import Path
from squibwise.intake.case_file.notes import Notes, suggest
from squibwise.intake.case_file.wording import bare, describe, settle, show

T = TypeVar("T", bound=msgspec.Struct)
_BAD: Any = object()


def read_table(raw: object, record: type[T], path: Path, notes: Notes) -> T | None:
    """Return a table as a record; None when something in it is wrong (then ``notes`` tells)."""
    settled = _settle_table(raw, record, path, notes)
    return None if settled is _BAD else msgspec.convert(settled, record)


def table_name(path: Path) -> str:
    """Return how a table is called in messages: ``[car]`` or ``[[evidence]] 3``."""
    head = str(path[0]) if path else "file"
    if len(path) > 1 and isinstance(path[1], int):
        return f"[[{head}]] {path[1] + 1}"
    return f"[{head}]"


def _settle_table(raw: object, record: type, path: Path, notes: Notes) -> Any:  # noqa: ANN401
    if not isinstance(raw, dict):
        remedy = f"Write it as {table_name(path)}."
        notes.add(
            "case-wrong-type", path, f"'{path[-1]}' must be a table, not {show(raw)}.", remedy
        )
        return _BAD
    info = inspect.type_info(record)
    if not isinstance(info, inspect.StructType):
        return _BAD
    fields = {field.encode_name: field for field in info.fields}
    whole = _no_strangers(
        raw, [*fields, *([info.tag_field] if info.tag_field else [])], path, notes
    )
    settled = {info.tag_field: info.tag} if info.tag_field else {}
    for key, field in fields.items():
        if key in raw:
            settled[key] = _settle(raw[key], field.type, (*path, key), notes)
        elif field.default is NODEFAULT and field.default_factory is NODEFAULT:
            remedy = f"Add {key} = ... ({describe(field.type)})."
            notes.add("case-missing-key", path, f"{table_name(path)} needs '{key}'.", remedy)
            whole = False
    return settled if whole and not any(v is _BAD for v in settled.values()) else _BAD


def _no_strangers(raw: dict[str, Any], known: list[str], path: Path, notes: Notes) -> bool:
    strangers = [key for key in raw if key not in known]
    for key in strangers:
        message = f"{table_name(path)} has no key '{key}'."
        notes.add("case-unknown-key", (*path, key), message, suggest(key, known))
    return not strangers


def _settle(value: object, info: inspect.Type, path: Path, notes: Notes) -> Any:  # noqa: ANN401
    info, check = bare(info)
    if isinstance(info, inspect.StructType):
        return _settle_table(value, info.cls, path, notes)
    if isinstance(info, inspect.VarTupleType):
        return _settle_list(value, info, path, notes)
    if isinstance(info, inspect.DictType):
        return _settle_map(value, info, path, notes)
    settled = settle(value, info)
    if settled is None:
        _complain(value, info, path, notes)
        return _BAD
    return settled if check is None or CHECKS[check](str(settled), path, notes) else _BAD


def _complain(value: object, info: inspect.Type, path: Path, notes: Notes) -> None:
    key = f"'{path[-1]}'" if isinstance(path[-1], str) else f"'{path[-2]}' ({path[-1] + 1})"
    if isinstance(info, inspect.LiteralType) and isinstance(value, str):
        words = [str(v) for v in info.values if v != ""]
        notes.add(
            "case-unknown-word", path, f"{key} cannot be {show(value)}.", suggest(value, words)
        )
        return
    message = f"{key} must be {describe(info)}, not {show(value)}."
    notes.add("case-wrong-value", path, message, "Correct the value.")


def _settle_list(value: object, info: inspect.VarTupleType, path: Path, notes: Notes) -> Any:  # noqa: ANN401
    if not isinstance(value, list):
        _complain(value, info, path, notes)
        return _BAD
    settled = [_settle(v, info.item_type, (*path, i), notes) for i, v in enumerate(value)]
    return _BAD if any(v is _BAD for v in settled) else settled


def _settle_map(value: object, info: inspect.DictType, path: Path, notes: Notes) -> Any:  # noqa: ANN401
    if not isinstance(value, dict):
        _complain(value, info, path, notes)
        return _BAD
    keys = [_settle(key, info.key_type, (*path, key), notes) for key in value]
    values = [_settle(v, info.value_type, (*path, key), notes) for key, v in value.items()]
    bad = any(v is _BAD for v in [*keys, *values])
    return _BAD if bad else dict(zip(keys, values, strict=True))
