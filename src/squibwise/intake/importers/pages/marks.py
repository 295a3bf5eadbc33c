"""What stands on a page: letters, and the lines drawn between them."""

import msgspec


class Glyph(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One letter. Distances in points, x to the right, y down the page.

    Attributes:
        x0: Left edge. [pt]
        x1: Right edge, with the room the font leaves after it. [pt]
        y: Middle of its line. [pt]
        size: Height of its line. [pt]
        sign: The character.
    """

    x0: float
    x1: float
    y: float
    size: float
    sign: str


class Rule(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A line drawn level or upright.

    Attributes:
        at: Its y when level, its x when upright. [pt]
        start: Where it begins, along itself. [pt]
        end: Where it ends. [pt]
    """

    at: float
    start: float
    end: float


class Marks(msgspec.Struct, frozen=True, kw_only=True):
    """One page.

    Attributes:
        glyphs: Its letters, spaces left out.
        level: Level lines.
        upright: Upright lines.
    """

    glyphs: tuple[Glyph, ...]
    level: tuple[Rule, ...] = ()
    upright: tuple[Rule, ...] = ()


class Segment(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A stretch of words on one line with no wide gap in it.

    Attributes:
        x0: Left edge. [pt]
        x1: Right edge. [pt]
        text: Its words.
    """

    x0: float
    x1: float
    text: str


class Line(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One line of print.

    Attributes:
        y: Its middle. [pt]
        size: Height of its letters. [pt]
        segments: From left to right.
    """

    y: float
    size: float
    segments: tuple[Segment, ...]


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One row as a person reads it: a line, or the lines of one table row.

    Attributes:
        y: Middle of its first line. [pt]
        bottom: Middle of its last line. [pt]
        size: Height of its letters. [pt]
        cells: From left to right; their edges tell the columns.
    """

    y: float
    bottom: float
    size: float
    cells: tuple[Segment, ...]

    def text(self) -> str:
        """Return the row as one line, for comparing."""
        return "\t".join(cell.text for cell in self.cells)
