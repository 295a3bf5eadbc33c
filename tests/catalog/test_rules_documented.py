"""Every rule profile, condition word, gate, step and cause is documented."""

from pathlib import Path

from squibwise.catalog.load import load_catalog

PAGE = Path(__file__).parents[2] / "docs" / "rules.md"


def test_every_word_of_the_work_list_stands_in_the_documentation() -> None:
    catalog = load_catalog()
    words = [
        *catalog.rules.profiles,
        *catalog.rules.conditions,
        *catalog.tasks.gates,
        *catalog.tasks.steps,
        *catalog.tasks.causes,
    ]
    text = PAGE.read_text(encoding="utf-8")
    assert [w for w in words if f"| `{w}` |" not in text] == []
