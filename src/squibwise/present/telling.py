"""The records that every answer is told in; whoever lays them out decides and words nothing."""

from typing import Literal

import msgspec

Tone = Literal["plain", "quiet", "strong", "check", "alarm"]
"""How loud a piece is: ``check`` asks for a look, ``alarm`` warns of a hazard or an error."""


class Text(msgspec.Struct, frozen=True, kw_only=True, tag="text"):
    """A paragraph."""

    text: str
    tone: Tone = "plain"


class Bullets(msgspec.Struct, frozen=True, kw_only=True, tag="bullets"):
    """A list; ``mark`` stands before each entry: ``-``, ``!`` for a caution, ``?`` for a doubt."""

    items: tuple[str, ...]
    mark: str = "-"
    tone: Tone = "plain"


class Table(msgspec.Struct, frozen=True, kw_only=True, tag="table"):
    """Rows of equal length.

    Attributes:
        rows: The cells.
        head: Names of the columns; empty when the rows speak for themselves.
        right: Numbers of the columns that are set to the right.
        widths: Shares of the columns' widths on paper, 0 = as wide as its content; empty = the
            last column takes what is left.
        data: Numbers of the columns with ids and digests, for a machine more than for a person.
        tone: Of the first column.
    """

    rows: tuple[tuple[str, ...], ...]
    head: tuple[str, ...] = ()
    right: tuple[int, ...] = ()
    widths: tuple[int, ...] = ()
    data: tuple[int, ...] = ()
    tone: Tone = "plain"


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One line with a box to tick.

    Attributes:
        done: Is the box ticked.
        number: What people call it by; empty when it has no number.
        title: What to do, or what was asked.
        notes: What holds it up or must be known with it, one line with the title.
        reason: Why, in small print.
        aside: Times and order, in small print beside it.
    """

    done: bool
    number: str = ""
    title: str
    notes: tuple[str, ...] = ()
    reason: str = ""
    aside: tuple[str, ...] = ()


class Steps(msgspec.Struct, frozen=True, kw_only=True, tag="steps"):
    """A list with boxes to tick; ``head`` names number, title and aside on paper."""

    steps: tuple[Step, ...]
    head: tuple[str, ...] = ()


class Entry(msgspec.Struct, frozen=True, kw_only=True, tag="entry"):
    """Lines to be written or pasted as they stand."""

    lines: tuple[str, ...]


class Branch(msgspec.Struct, frozen=True, kw_only=True):
    """One branch of a tree: what leads to it, what it says, a quiet note."""

    word: str = ""
    text: str
    note: str = ""
    branches: tuple["Branch", ...] = ()


class Tree(msgspec.Struct, frozen=True, kw_only=True, tag="tree"):
    """A plan that branches."""

    root: Branch


Block = Text | Bullets | Table | Steps | Entry | Tree


class Section(msgspec.Struct, frozen=True, kw_only=True):
    """Blocks under one heading.

    Attributes:
        heading: A few words; empty when the blocks go on from above.
        note: What stands quietly beside the heading.
        blocks: In order.
        tone: Of the heading.
        level: 2 = belongs to the section above it.
        half: Two such neighbours may stand side by side.
    """

    heading: str = ""
    note: str = ""
    blocks: tuple[Block, ...] = ()
    tone: Tone = "strong"
    level: int = 1
    half: bool = False


class Telling(msgspec.Struct, frozen=True, kw_only=True):
    """One answer as a person is told it.

    Attributes:
        title: What it is about.
        subtitle: Beside the title.
        about: Quiet lines below it.
        sections: In the order a person asks.
        closing: What stands below everything.
        tone: Of the title.
    """

    title: str = ""
    subtitle: str = ""
    about: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    closing: tuple[Text, ...] = ()
    tone: Tone = "strong"


def text(words: str, tone: Tone = "plain") -> Text:
    """Return a paragraph."""
    return Text(text=words, tone=tone)


def section(heading: str, *blocks: Block, note: str = "", tone: Tone = "strong") -> Section:
    """Return blocks under a heading."""
    return Section(heading=heading, note=note, blocks=blocks, tone=tone)


def filled(sections: tuple[Section | None, ...]) -> tuple[Section, ...]:
    """Return the sections that there is something to say in."""
    return tuple(s for s in sections if s is not None)
