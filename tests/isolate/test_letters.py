"""A phrase of owners is compiled only where a text holds letters that it asks for."""

import random
import re
from re import _parser as parser  # type: ignore[attr-defined]  # no other way to take one apart
from typing import Any

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.isolate.prose import letters_of

PHRASES = sorted({p for sign in load_catalog().loops.signs.values() for p in sign.phrases})


def text_of(parsed: Any, rng: random.Random) -> str:
    """Return a text made by following an expression, its assertions passed over."""
    made = ""
    for op, value in parsed:
        word = str(op)
        if word == "LITERAL":
            made += chr(value)
        elif word == "BRANCH":
            made += text_of(rng.choice(value[1]), rng)
        elif word == "SUBPATTERN":
            made += text_of(value[-1], rng)
        elif word == "MAX_REPEAT":
            low, high, inside = value
            low = max(low, int(str(inside[0][0]) == "ANY"))  # words stand apart
            made += "".join(
                text_of(inside, rng) for _ in range(rng.randint(low, min(high, low + 2)))
            )
        elif word == "ANY":
            made += " "
        elif word == "IN":
            made += rng.choice([c for c in "a7 -x'" if fits(value, c)] or [first_of(value)])
    return made


def fits(value: Any, letter: str) -> bool:
    """Return whether a set of letters takes one."""
    ranges = {"CATEGORY_WORD": r"\w", "CATEGORY_DIGIT": r"\d", "CATEGORY_SPACE": r"\s"}
    kinds = {str(v) for o, v in value if str(o) == "CATEGORY"}
    if str(value[0][0]) == "NEGATE":
        return all(ord(letter) != v for o, v in value if str(o) == "LITERAL")
    return any(re.match(ranges[k], letter) for k in kinds)


def first_of(value: Any) -> str:
    """Return the first letter that a set names."""
    op, found = value[0]
    return chr(found if str(op) == "LITERAL" else found[0])


def test_every_text_that_a_phrase_fits_holds_its_letters() -> None:
    rng, tried = random.Random(5), 0
    for phrase in PHRASES:
        parsed = parser.parse(phrase)
        texts = [text_of(parsed, rng) for _ in range(4)]
        fitting = [t for t in texts if re.search(phrase, t)]
        tried += bool(fitting)
        for text in fitting:
            assert any(letters in text for letters in letters_of(phrase)), (phrase, text)
    assert tried > 0.95 * len(PHRASES)


@pytest.mark.parametrize(
    ("phrase", "letters"),
    [
        (r"\bcomes and goes\b", ("comes and goes",)),
        (r"\bsits? (much )?closer\b", ("closer",)),
        (r"\b(car parks?|garage)\b", ("car park", "garage")),
        (r"\bplug(ged)? in|out\b", ("",)),  # several alternatives
        (r"\b(in (the )?rain|wet)\b", ("",)),  # a group in a group
        (r"\bab? (xyz)?\b", ("",)),  # nothing of it must be there
        (r"\b(?!not)x\b", ("",)),
    ],
)
def test_letters_are_those_that_must_be_there(phrase: str, letters: tuple[str, ...]) -> None:
    assert letters_of(phrase) == letters


def test_few_phrases_are_compiled_for_a_text_that_tells_nothing() -> None:
    text = "rear-ended into the car ahead: belts fired, no bag"
    likely = [p for p in PHRASES if any(a in text for a in letters_of(p))]
    assert len(likely) < 0.15 * len(PHRASES)
