"""Photographs for paper: the picture itself, without what a camera wrote into its file.

Place, owner, serial number and a small second picture often stand there. The picture is not made
anew: what is left is byte for byte what the camera stored, so the same file gives the same copy.
"""

from collections.abc import Iterator

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset(
    b"IHDR PLTE IDAT IEND tRNS cHRM gAMA iCCP sBIT sRGB bKGD pHYs cICP".split()
)  # what the picture looks like; text, times, places and private pieces are left out
_JPEG_END, _JPEG_SCAN = 0xD9, 0xDA
_BARE = frozenset({0x01, *range(0xD0, 0xD8)})  # markers without a length
_ORIENTATION = 0x0112
LARGEST_COPY = 3_000_000  # bytes of a picture that is printed


def plain_copy(data: bytes) -> bytes | None:
    """Return a JPEG or PNG without what was written beside the picture; None for anything else.

    A JPEG keeps the way up that it is to be seen; its colour profile stays too.

    Source: ISO/IEC 10918-1 annex B (markers), ISO/IEC 10918-5 (JFIF), ISO/IEC 15948 sections 5 and
    11 (chunks), CIPA DC-008 section 4.6 (Exif, orientation); all from memory.
    """
    try:
        if data.startswith(_PNG):
            return _PNG + b"".join(_png_kept(data))
        if data.startswith(b"\xff\xd8"):
            return b"\xff\xd8" + b"".join(_jpeg_kept(data))
    except (IndexError, ValueError):
        return None
    return None


def _png_kept(data: bytes) -> Iterator[bytes]:
    at, kind = len(_PNG), b""
    while kind != b"IEND":
        length, kind = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        chunk = data[at : at + 12 + length]
        if len(chunk) != 12 + length:
            raise ValueError("cut short")
        if kind in _PNG_KEPT:
            yield chunk
        at += len(chunk)


def _jpeg_kept(data: bytes) -> Iterator[bytes]:
    at, marker = 2, 0
    while marker != _JPEG_END:
        marker, segment = _next_segment(data, at)
        at += len(segment)
        if marker == 0xE0 and segment[4:9] == b"JFIF\0":
            yield b"\xff\xe0\x00\x10" + segment[4:16] + b"\x00\x00"  # its small picture left out
        elif marker == 0xE1 and segment[4:10] == b"Exif\0\0":
            yield _upright(segment[10:])
        elif _is_picture(marker, segment):
            yield segment
        if marker == _JPEG_SCAN:
            end = _end_of_scan(data, at)
            yield data[at:end]
            at = end


def _next_segment(data: bytes, at: int) -> tuple[int, bytes]:
    """Return a marker and its whole segment."""
    while data[at] == 0xFF and data[at + 1] == 0xFF:
        at += 1  # fill bytes
    marker = data[at + 1]
    length = 0 if marker == _JPEG_END or marker in _BARE else int.from_bytes(data[at + 2 : at + 4])
    segment = data[at : at + 2 + length]
    if data[at] != 0xFF or len(segment) != 2 + length or (length < 2 and length):
        raise ValueError("not a marker")
    return marker, segment


def _is_picture(marker: int, segment: bytes) -> bool:
    """Does a segment say how the picture looks: no comment, and of the applications' own two."""
    if marker == 0xE2:
        return segment[4:16] == b"ICC_PROFILE\0"
    if marker == 0xEE:
        return segment[4:9] == b"Adobe"
    return marker != 0xFE and not 0xE0 <= marker <= 0xEF


def _end_of_scan(data: bytes, at: int) -> int:
    """Return where the coded picture ends: at the next marker that is none of its own."""
    while True:
        at = data.index(b"\xff", at)
        if data[at + 1] and data[at + 1] not in _BARE:
            return at
        at += 2


def _upright(exif: bytes) -> bytes:
    """Return a segment that says which way up and nothing else; empty when it is not turned."""
    order = {b"II": "little", b"MM": "big"}.get(exif[:2])
    if order not in ("little", "big"):
        return b""

    def number(at: int, size: int) -> int:
        return int.from_bytes(exif[at : at + size], "little" if order == "little" else "big")

    at = number(4, 4)
    entries = (at + 2 + 12 * n for n in range(min(number(at, 2), 500)))
    turned = next((number(e + 8, 2) for e in entries if number(e, 2) == _ORIENTATION), 1)
    if not 2 <= turned <= 8:
        return b""
    entry = b"\x01\x12\x00\x03\x00\x00\x00\x01" + turned.to_bytes(2) + b"\x00\x00"
    tiff = b"MM\x00\x2a\x00\x00\x00\x08\x00\x01" + entry + b"\x00\x00\x00\x00"
    return b"\xff\xe1" + (8 + len(tiff)).to_bytes(2) + b"Exif\0\0" + tiff


def count_pixels(data: bytes) -> int:
    """Return the pixels of a PNG or JPEG by its header; of 16 bits twice; 0 for anything else.

    Source: ISO/IEC 15948 section 11.2.2 (IHDR) and ISO/IEC 10918-1 annex B.2.2 (frame header),
    both from memory.
    """
    if data.startswith(_PNG) and len(data) > 24:
        deep = 2 if data[24] == 16 else 1
        return int.from_bytes(data[16:20]) * int.from_bytes(data[20:24]) * deep
    at = 2 if data.startswith(b"\xff\xd8") else len(data)
    while at + 9 < len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4])
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            return int.from_bytes(data[at + 7 : at + 9]) * int.from_bytes(data[at + 5 : at + 7])
        at += 2 + length
    return 0
