"""What a camera wrote into a photograph does not reach the record; the picture itself does.

The reference is Pillow: it writes the files and reads the copies.
"""

import hashlib
import io
from collections.abc import Callable
from typing import Any

import numpy as np
import pypdfium2
import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from squibwise.catalog.load import load_catalog
from squibwise.documents import record_pdf, verify_file
from squibwise.documents.looking import find_same, look_at, take_pictures
from squibwise.documents.photographs import plain_copy
from squibwise.documents.record import printed
from squibwise.model.case import Picture as CasePicture
from squibwise.model.evidence import Passed, Photo
from squibwise.model.proof import ProofRecord
from squibwise.present.record_content import read_content
from squibwise.present.tell_to_know import tell_to_know

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
    catalog = load_catalog()
    assert take_pictures(case, lambda _: data + b" ", catalog)[1] == {}  # not what was handed in
    assert take_pictures(case, lambda _: b"", catalog)[1] == {}
    seen, copies = take_pictures(case, {name: data}.__getitem__, catalog)
    record = issue(case=seen)
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


def scene(seed: int, width: int = 320, height: int = 240) -> Image.Image:
    """A picture with large and small shapes, as a photograph has them; no two seeds are alike."""
    levels = np.random.default_rng(seed).uniform(0, 255, (6, 8, 3)).astype(np.uint8)
    return Image.fromarray(levels).resize((width, height), Image.Resampling.BICUBIC)


def stored(image: Image.Image, kind: str = "JPEG", **more: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def paper(words: str) -> bytes:
    """A PDF of one page, with so many words on it."""
    return bytes(typst.compile(f'#set page(paper: "a5")\n{words}'.encode()))


FLAT = Image.new("RGB", (640, 480), (90, 120, 60))
NOTHING_ON_IT = {
    "one pixel": stored(Image.new("RGB", (1, 1)), "PNG"),
    "a side of 199 pixels": stored(scene(1, 640, 199)),
    "one colour": stored(FLAT),
    "one colour but for a pixel": stored(Image.composite(
        FLAT, scene(2, 640, 480), Image.new("1", (640, 480), 1)), "PNG"),
    "cut short": stored(scene(1))[:900],
    "a film": b"\x00\x00\x00\x18ftypmp42" + bytes(5_000),
    "nothing": b"",
    "a PDF of one white page": paper(""),
    "a PDF that is cut short": paper("Receipt 44, 2 airbags")[:400],
}  # fmt: skip
SOMETHING_ON_IT = {
    "a side of 200 pixels": stored(scene(1, 640, 200)),
    "a poor JPEG": stored(scene(1), quality=5),
    "a dark one": stored(scene(1).point(lambda v: v // 8)),
    "WebP": stored(scene(1), "WEBP"),
    "TIFF": stored(scene(1), "TIFF"),
    "few colours": stored(scene(1).quantize(16), "PNG"),
    "sixteen bits": stored(scene(1).convert("L").convert("I;16"), "PNG"),
    "inverse to print": stored(scene(1).convert("CMYK")),
    "a PDF with text": paper("Receipt 44, 2 airbags, paid " * 40),
}


def released(
    issue: Callable[..., ProofRecord],
    made: dict[str, Any],
    contents: dict[str, bytes],
    **about: Any,
) -> ProofRecord:
    """A record whose photographs hold these bytes, each of the airbag that was fitted."""
    bag = about or {"component": "driver.front-bag"}
    photos = tuple(Photo(id=f"p{n}", file=f, **bag) for n, f in enumerate(contents))
    files = {f: hashlib.sha256(d).hexdigest() for f, d in contents.items()}
    case = made["case"](evidence=(*made["evidence"](), *photos), files=files)
    return issue(case=take_pictures(case, contents.__getitem__, load_catalog())[0])


def gate(record: ProofRecord, word: str) -> Any:
    return next(g for g in record.gates if g.id == word)


def to_know(record: ProofRecord) -> str:
    return " ".join(page_text(tell_to_know(record, read_content(record))))


def page_text(section: Any) -> list[str]:
    return [text for block in section.blocks for text in block.items]


@pytest.mark.parametrize("name", NOTHING_ON_IT)
def test_a_picture_that_shows_nothing_ticks_nothing(
    name: str, issue: Callable[..., ProofRecord], made: dict[str, Any]
) -> None:
    record = released(issue, made, {"evidence/bag.jpg": NOTHING_ON_IT[name]})
    fitted = gate(record, "replacements")
    assert fitted.grade == "stated"
    assert "file attached, shows nothing that can be read" in fitted.stated[0]
    assert "0 photographs in it. 1 more file: attached as a photograph" in to_know(record)
    (told,) = record.content["photos"]
    assert told["shows"] is False


@pytest.mark.parametrize("name", SOMETHING_ON_IT)
def test_a_picture_with_something_on_it_shows(
    name: str, issue: Callable[..., ProofRecord], made: dict[str, Any]
) -> None:
    record = released(issue, made, {"evidence/bag.jpg": SOMETHING_ON_IT[name]})
    assert gate(record, "replacements").grade == "shown"
    assert "1 photograph in it." in to_know(record)


@pytest.mark.parametrize(
    ("name", "grade"),
    [
        ("nothing", "stated"),
        ("one pixel", "stated"),
        ("a poor JPEG", "shown"),
        ("a PDF of one white page", "stated"),
        ("a PDF with text", "shown"),
        ("some text", "shown"),
        ("a word", "stated"),
    ],
)
def test_a_receipt_that_is_a_picture_is_looked_at_too(
    name: str, grade: str, issue: Callable[..., ProofRecord], made: dict[str, Any]
) -> None:
    texts = {"a word": b"paid", "some text": b"Receipt 44 of 2 March: two airbags, 812.00 paid"}
    content = (NOTHING_ON_IT | SOMETHING_ON_IT | texts)[name]
    paper = Passed(
        id="r", time=made["at"](12), what="receipts", result="passed", by="R", note="a/receipt.png"
    )
    case = made["case"](
        evidence=(*made["evidence"](), paper),
        files={"a/receipt.png": hashlib.sha256(content).hexdigest()},
    )
    record = issue(case=take_pictures(case, lambda _: content, load_catalog())[0])
    found = {p["id"]: p["grade"] for p in record.content["papers"]}
    assert found["receipts"] == grade


def test_one_picture_stored_anew_is_one_picture(
    issue: Callable[..., ProofRecord], made: dict[str, Any]
) -> None:
    first = scene(1)
    again = {
        "a.jpg": stored(first),
        "b.jpg": stored(first, quality=10),
        "c.png": stored(first.resize((300, 260)), "PNG"),
        "d.jpg": stored(first.transpose(Image.Transpose.ROTATE_90)),
        "e.jpg": stored(first.transpose(Image.Transpose.FLIP_LEFT_RIGHT)),
        "f.jpg": stored(scene(2)),
        "g.jpg": stored(scene(3)),
    }
    record = released(issue, made, again)
    same = {p["file"]: p["same_as"] for p in record.content["photos"]}
    assert same == {f: "a.jpg" if f in ("b.jpg", "c.png", "d.jpg", "e.jpg") else "" for f in again}
    assert "3 photographs in it. One of them stands for 5 different things." in to_know(record)


def test_different_pictures_are_not_taken_for_one() -> None:
    looks = {str(n): look_at(stored(scene(n)))[1] for n in range(60)}
    assert find_same({n: grey for n, grey in looks.items() if grey is not None}, 0.98) == {}


@pytest.mark.parametrize(
    ("mode", "size"),
    [("1", (9_000, 9_000)), ("RGBA", (6_000, 5_000)), ("1", (5_000, 5_000)), ("1", (40_000, 1))],
)
def test_a_picture_that_unpacks_to_more_than_a_camera_takes_is_not_opened(
    mode: str, size: tuple[int, int]
) -> None:
    assert look_at(stored(Image.new(mode, size), "PNG")) == (CasePicture(), None)


def test_small_files_that_unpack_to_many_points_are_not_printed(
    issue: Callable[..., ProofRecord], made: dict[str, Any]
) -> None:
    packed = {f"{n}.png": stored(Image.new("RGBA", (2_900, 2_700), n), "PNG") for n in range(3)}
    record = released(issue, made, packed)
    assert list(printed(record, packed)) == ["0.png"]
