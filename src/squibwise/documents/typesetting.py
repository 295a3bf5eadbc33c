"""Templates to PDF, with what they need beside them in a folder of its own, and square codes."""

import datetime as dt
import io
import tempfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path

import segno
import typst

_LAYOUT = "layout.typ"


def set_pages(
    template: str,
    inputs: dict[str, str],
    day: dt.datetime,
    files: Mapping[str, bytes],
    fonts: Path | None = None,
) -> bytes:
    """Return the PDF/A-3, tagged, that a template makes.

    The template sees nothing but what is given here: its folder holds nothing else.

    Args:
        template: Name of the template.
        inputs: Texts for it; data, never markup.
        day: The only date in the file.
        files: Pictures by the name under which the template asks for them.
        fonts: Folder with fonts beside the built-in ones; None for none.

    Raises:
        TypstError: A text or a picture cannot be set.
    """
    with tempfile.TemporaryDirectory(prefix="squibwise-") as place:
        folder = Path(place)
        for name in (template, _LAYOUT):
            text = resources.files("squibwise.documents").joinpath(name).read_bytes()
            (folder / name).write_bytes(text)
        for name, data in files.items():
            (folder / name).write_bytes(data)
        return typst.compile(
            folder / template,
            format="pdf",
            root=folder,
            ignore_system_fonts=True,
            font_paths=[fonts] if fonts else [],
            pdf_standards=["a-3a", "ua-1"],
            timestamp=day,
            sys_inputs=inputs,
        )


def square_code(text: str) -> str:
    """Return a QR code as SVG.

    Source: ISO/IEC 18004, by segno.
    """
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=2, xmldecl=False)
    return out.getvalue().decode()
