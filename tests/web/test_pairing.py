"""The code that a phone scans, read back from what the terminal shows.

Source: ISO/IEC 18004:2024 (QR code), as zxing-cpp, a library of others, reads it from a picture.
"""

import re

import pytest
import zxingcpp
from PIL import Image

from squibwise.web.running import draw_code, tell_pairing
from squibwise.web.sessions import Sessions

HALVES = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
"""Light above and below in each block: a terminal is dark, its blocks are light."""
SCALE = 6  # points of the picture for each square of the code


def photograph(shown: str, light: int = 255, dark: int = 0, turned: float = 0.0) -> Image.Image:
    """Return the picture of a code as it stands in a terminal, perhaps pale or turned."""
    lines = shown.splitlines()
    picture = Image.new("L", (max(map(len, lines)), 2 * len(lines)), dark)
    for y, line in enumerate(lines):
        for x, block in enumerate(line):
            for below, bright in enumerate(HALVES[block]):
                picture.putpixel((x, 2 * y + below), light if bright else dark)
    large = picture.resize((picture.width * SCALE, picture.height * SCALE))
    framed = Image.new("L", (large.width + 80, large.height + 80), dark)
    framed.paste(large, (40, 40))
    return framed.rotate(turned, resample=Image.Resampling.BICUBIC, expand=True, fillcolor=dark)


@pytest.mark.parametrize(
    ("light", "dark", "turned"), [(255, 0, 0.0), (170, 60, 0.0), (255, 0, 90.0), (230, 20, 12.0)]
)
def test_the_code_in_the_terminal_leads_to_the_address_below_it(
    light: int, dark: int, turned: float
) -> None:
    told = tell_pairing("192.168.123.231", 8321, Sessions())
    address = re.search(r"^http://\S+$", told, re.MULTILINE)
    assert address is not None
    code = "\n".join(line for line in told.splitlines() if line and set(line) <= set(HALVES))
    read = zxingcpp.read_barcodes(photograph(code, light, dark, turned))
    assert [found.text for found in read] == [address[0]]


def test_a_code_with_a_part_hidden_is_still_read() -> None:
    picture = photograph(draw_code("http://10.0.0.7:8321/pair/abcdefghijklmnopqrstuvwx"))
    middle = picture.width // 2
    picture.paste(0, (middle - 12, middle - 12, middle + 12, middle + 12))  # a reflection
    read = zxingcpp.read_barcodes(picture)
    assert [found.text for found in read] == ["http://10.0.0.7:8321/pair/abcdefghijklmnopqrstuvwx"]
