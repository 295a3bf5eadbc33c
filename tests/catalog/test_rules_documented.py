"""Every word of rules, orders, operations and questions is documented."""

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
        *catalog.tasks.openings,
        *catalog.tasks.ticks,
        *(s.id for s in catalog.tasks.settings.values()),
        *catalog.assemblies,
        *catalog.rules.questions,
    ]
    text = PAGE.read_text(encoding="utf-8")
    assert [w for w in words if f"| `{w}` |" not in text] == []


def test_the_limits_in_the_documentation_are_those_of_the_catalogue() -> None:
    catalog = load_catalog()
    sure = catalog.fact("require.sure").number()
    least = catalog.fact("require.replace-from").number()
    assert least == catalog.fact("require.spread-from").number()
    assert f"| from {least:.2f} to {sure:.2f} |" in PAGE.read_text(encoding="utf-8")
