"""A drawing of what drives a sum: a bar for each thing, as long as its share of the spread."""

from collections.abc import Sequence
from html import escape

from squibwise.documents.printable import spelled
from squibwise.model.cost import Driver

WIDTH, BAR, GAP, TOP, LABELS, FIGURES = 940, 20, 8, 64, 400, 190
SHOWN = 12
_INK, _QUIET, _FILL = "#1d2b33", "#51626b", "#3a6b7a"


def drivers_svg(drivers: Sequence[Driver], title: str = "What drives the restraint share") -> str:
    """Return a bar chart as SVG: the largest share of the spread first, with its expected sum.

    What lowers the spread has no bar; its share stands in its figure.
    """
    shown = drivers[:SHOWN]
    most = max((d.share for d in shown), default=0.0)
    height = TOP + len(shown) * (BAR + GAP) + 16
    story = "; ".join(f"{d.what}: {_figure(d)}" for d in shown)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
            'aria-labelledby="drivers-title drivers-desc" font-family="sans-serif">',
            f'<title id="drivers-title">{_text(title)}</title>',
            f'<desc id="drivers-desc">{_text(story)}</desc>',
            f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
            _words(16, 26, 16, title, _INK, ' font-weight="bold"'),
            _words(16, 46, 12, "share of the spread, and what it is expected to add", _QUIET),
            *(_bar(d, n, most) for n, d in enumerate(shown)),
            "</svg>",
        ]
    )


def _bar(driver: Driver, place: int, most: float) -> str:
    top = TOP + place * (BAR + GAP)
    room = WIDTH - LABELS - FIGURES - 16
    width = room * max(0.0, driver.share) / most if most > 0.0 else 0.0
    label = driver.what
    if len(label) > _LONGEST:  # twins differ in their last word
        label = f"{label[: _LONGEST - _END - 5]} ... {label[-_END:]}"
    return "\n".join(
        [
            _words(LABELS - 10, top + 15, 13, label, _INK, ' text-anchor="end"'),
            f'<rect x="{LABELS}" y="{top}" width="{width:.1f}" height="{BAR}" fill="{_FILL}"/>',
            _words(LABELS + width + 8, top + 15, 12, _figure(driver), _QUIET),
        ]
    )


_LONGEST, _END = 56, 22


def _figure(driver: Driver) -> str:
    return f"{100 * driver.share:.0f} %, {driver.mean.text()}"


def _words(x: float, y: float, size: int, words: str, ink: str, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y}" font-size="{size}" fill="{ink}"{more}>{_text(words)}</text>'


def _text(words: str) -> str:
    return escape(spelled(words))
