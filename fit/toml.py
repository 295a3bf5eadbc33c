"""Writes plain tables as TOML: strings, numbers, booleans, lists and one level of tables."""

from typing import Any


def value(item: Any) -> str:  # noqa: ANN401 - any plain TOML value
    """Return one value as TOML."""
    if isinstance(item, bool):
        return str(item).lower()
    if isinstance(item, str):
        return '"' + item.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(item, tuple | list):
        return "[" + ", ".join(value(i) for i in item) + "]"
    if isinstance(item, dict):
        return "{ " + ", ".join(f"{k} = {value(v)}" for k, v in item.items()) + " }"
    return str(item)


def pairs(table: dict[str, Any]) -> str:
    """Return ``key = value`` lines; entries that are None are left out."""
    return "\n".join(f"{k} = {value(v)}" for k, v in table.items() if v is not None)
