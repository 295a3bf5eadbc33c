"""What a camera wrote into a photograph does not reach the record; the picture itself does.

The reference is Pillow: it writes the files and reads the copies.
"""

import hashlib
import io
from collections.abc import Callable
from typing import Any

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from squibwise.catalog.load import load_catalog
from squibwise.documents import record_pdf, verify_file
from squibwise.documents.photographs import copy_photographs, plain_copy, with_copies
from squibwise.model.evidence import Photo
from squibwise.model.proof import ProofRecord

PLACE, OWNER = b"52.5163 north", b"Erika Eigentuemerin"
MAKE, ORIENTATION, ARTIST, GPS = 0x010F, 0x0112, 0x013B, 0x8825


def picture(width: int = 64, height: int = 40) -> Image.Image:
    drawn = Image.new("RGB", (width, height))
    drawn.putdata([(x * 4 % 256, y * 6 % 256, (x * y) % 256) for y in range(height)
                   for x in range(width)])  # fmt: skip
    return drawn


def jpeg(turned: int = 1, *, progressive: bool = False, **more: Any) -> bytes:
    exif = Image.Exif()
    exif[MAKE], exif[ORIENTATION], exif[ARTIST] = "Camera", turned, OWNER.decode()
    exif.get_ifd(GPS).update({1: "N", 2: (52.0, 30.0, 58.7), 29: PLACE.decode()})
    out = io.BytesIO()
    comment = b"taken by " + OWNER
    picture().save(out, "JPEG", exif=exif, comment=comment, progressive=progressive, **more)
    return out.getvalue()


def png() -> bytes:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Author", OWNER.decode())
    notes.add_itxt("Location", PLACE.decode(), zip=True)
    exif = Image.Exif()
    exif[ARTIST] = OWNER.decode()
    out = io.BytesIO()
    picture().save(out, "PNG", pnginfo=notes, exif=exif, dpi=(300, 300))
    return out.getvalue()


SAMPLES: dict[str, Callable[[], bytes]] = {
    "upright": jpeg,
    "turned": lambda: jpeg(6),
    "progressive": lambda: jpeg(progressive=True),
    "with restart markers": lambda: jpeg(restart_marker_blocks=2),
    "grey": lambda: _saved(picture().convert("L")),
    "four inks": lambda: _saved(picture().convert("CMYK")),
    "png": png,
}


def _saved(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", comment=OWNER)
    return out.getvalue()


@pytest.mark.parametrize("name", SAMPLES)
def test_the_copy_shows_the_same_picture_and_tells_nothing_of_its_owner(name: str) -> None:
    data = SAMPLES[name]()
    assert OWNER in data
    copy = plain_copy(data)
    assert copy is not None
    for told in (OWNER, PLACE, b"Camera"):
        assert told not in copy
    before, after = Image.open(io.BytesIO(data)), Image.open(io.BytesIO(copy))
    assert after.tobytes() == before.tobytes()
    assert dict(after.getexif()) == ({ORIENTATION: 6} if name == "turned" else {})
    assert not {"Author", "Location", "comment"} & set(after.info)
    assert plain_copy(copy) == copy


def test_what_lies_behind_the_picture_is_left_out() -> None:
    film = b"\x00\x00\x00\x18ftypmp42" + PLACE
    for data in (jpeg(), png()):
        assert plain_copy(data + film) == plain_copy(data)


def test_the_small_picture_of_a_jfif_head_is_left_out() -> None:
    plain = plain_copy(jpeg())
    assert plain is not None
    small = b"\x02\x01" + b"\x01\x02\x03\x04\x05\x06"
    assert plain[2:4] == b"\xff\xe0"
    head = b"\xff\xe0\x00\x16" + plain[6:18] + small
    assert plain_copy(plain[:2] + head + plain[20:]) == plain


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_a_broken_picture_gives_no_copy_or_one_that_stays_so(data: st.DataObject) -> None:
    whole = data.draw(st.sampled_from([jpeg(6), png()]))
    at = data.draw(st.integers(0, len(whole) - 1))
    broken = whole[:at] + data.draw(st.binary(max_size=6)) + whole[at + 3 :]
    copy = plain_copy(broken)
    assert copy is None or plain_copy(copy) == copy


@pytest.mark.parametrize(
    "data", [b"", b"GIF89a", b"\xff\xd8", b"\xff\xd8\xff\xe1\x00\x01", png()[:99]]
)
def test_what_is_no_whole_picture_gives_no_copy(data: bytes) -> None:
    assert plain_copy(data) is None


def attachments(pdf: bytes) -> dict[str, bytes]:
    document = pypdfium2.PdfDocument(pdf)
    found = [document.get_attachment(n) for n in range(document.count_attachments())]
    held = {a.get_name(): bytes(a.get_data()) for a in found}
    document.close()
    return held


def test_a_record_holds_the_copy_and_the_hash_of_both(
    issue: Callable[..., ProofRecord], made: dict[str, Any]
) -> None:
    name, data = "evidence/bag.jpg", jpeg(6)
    photo = Photo(id="p", file=name, component="driver.front-bag")
    whole = hashlib.sha256(data).hexdigest()
    case = made["case"](evidence=(photo, *made["evidence"]()), files={name: whole})
    assert copy_photographs(case, {name: data + b" "}) == {}  # another file than was handed in
    copies = copy_photographs(case, {name: data})
    record = issue(case=with_copies(case, copies))
    (told,) = record.content["photos"]
    assert (told["sha256"], told["copy_sha256"]) == (
        whole,
        hashlib.sha256(copies[name]).hexdigest(),
    )
    for given_ in (copies, {name: data}):
        pdf = record_pdf(record, pictures=given_)
        assert attachments(pdf)["photo-1.jpg"] == copies[name]
        assert not any(word in pdf for word in (OWNER, PLACE))
        assert verify_file(pdf, load_catalog()).valid
