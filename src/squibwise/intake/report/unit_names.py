"""Which unit of the car a name is: the restraint unit, another, or one that nobody knows."""

from squibwise.intake.report.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.phrases import find_layout
from squibwise.model.report import Unit

_NAME_WORDS = 4  # of a part of the car and its unit: "tailgate ECU"


def name_unit(text: str, lexicon: Lexicon) -> tuple[Unit, bool]:
    """Return which unit a name is, and whether the name alone makes it one.

    Args:
        text: A heading or a cell.
        lexicon: For the names of units, and of areas of the car, of every language.
    """
    if lexicon.has_name("restraint", flat(text)):
        return "restraint", True
    texts = tuple(t.text for t in tokenise(text))
    means = {m for at in range(len(texts)) for m in find_layout(lexicon, texts, at)[0]}
    if "othermodule" in means:
        return "other", True
    is_area = "area" in means or any(map(lexicon.is_of_area, texts))
    is_name = is_area and len(texts) <= _NAME_WORDS
    is_sure = is_name and not lexicon.small.computers.isdisjoint(texts)
    return ("other", is_sure) if is_area else ("unknown", False)
