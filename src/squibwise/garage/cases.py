"""A case of a garage as a folder: to be read, or to be changed with an entry for the change."""

import datetime as dt
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.folders import folder_content, write_content


@contextmanager
def editing(
    place: Path, case_id: str, what: str, at: dt.datetime, by: str = "", seen: str = ""
) -> Iterator[Path]:
    """Give a case of a garage as a folder to be changed; the change becomes an entry.

    Args:
        place: The garage.
        case_id: A case of it.
        what: What is done to it, in words.
        at: When.
        by: Who does it.
        seen: Hash of the entry the person looked at; empty = where the case stands now.

    Raises:
        InputError: Somebody else changed the case meanwhile; nothing is entered.
    """
    with connected(place) as garage:
        stands = store.head(garage, case_id)
        if seen and seen != stands.hash:
            raise store.conflict(case_id, stands)
        content = store.content(garage, case_id)
    with tempfile.TemporaryDirectory(prefix="squibwise-") as laid_out:
        folder = Path(laid_out) / case_id
        write_content(content, folder)
        yield folder
        with connected(place) as garage:
            store.add(garage, case_id, folder_content(folder), what, at, by, stands)
