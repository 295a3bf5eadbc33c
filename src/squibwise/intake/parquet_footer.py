"""How many rows a Parquet file holds and how large it is unpacked, by its footer alone.

The columnar engine tells neither before it unpacks, and a few kilobytes may unpack to gigabytes.

Source: Apache Parquet format, ``parquet.thrift`` (FileMetaData: 3 = num_rows, 4 = row_groups;
RowGroup: 2 = total_byte_size, before compression) and the Thrift compact protocol, both from
memory; checked on files that the engine writes.
"""

from pathlib import Path
from typing import Any, NamedTuple

_MAGIC, _TAIL = b"PAR1", 8
_LARGEST = 16 << 20  # of a footer; that of ten million rows has some kilobytes
_DEEPEST = 20
_ROWS, _GROUPS, _BYTES = 3, 4, 2  # fields of the records named above
_STOP, _TRUE, _FALSE, _BYTE, _DOUBLE, _BINARY, _LIST, _SET, _STRUCT = 0, 1, 2, 3, 7, 8, 9, 10, 12
_INTEGERS = (4, 5, 6)


class Footer(NamedTuple):
    """What a footer says: rows, and bytes before compression."""

    rows: int
    unpacked: int


def read_footer(source: Path) -> Footer:
    """Return what the footer of a Parquet file says.

    Raises:
        ValueError: It has none, or one that cannot be read.
    """
    with source.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - _TAIL))
        tail = file.read(_TAIL)
        length = int.from_bytes(tail[:4], "little")
        if tail[4:] != _MAGIC or not 0 < length <= min(_LARGEST, size - _TAIL):
            raise ValueError("no Parquet footer")
        file.seek(size - _TAIL - length)
        data = file.read(length)
    try:
        said = _Reader(data).struct(0)
        return Footer(said[_ROWS], sum(group[_BYTES] for group in said[_GROUPS]))
    except (IndexError, KeyError, TypeError) as error:
        raise ValueError("a broken Parquet footer") from error


class _Reader:
    """Values of the Thrift compact protocol. A class because it keeps its place."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def byte(self) -> int:
        """Return the next byte."""
        self.at += 1
        return self.data[self.at - 1]

    def number(self) -> int:
        """Return an unsigned number, seven bits a byte, the lowest first."""
        found, shift = 0, 0
        while (byte := self.byte()) & 0x80:
            found |= (byte & 0x7F) << shift
            shift += 7
            if shift > 63:
                raise ValueError("a number without end")
        return found | byte << shift

    def signed(self) -> int:
        """Return a signed number: 0, -1, 1, -2, 2 are written 0, 1, 2, 3, 4."""
        found = self.number()
        return found >> 1 ^ -(found & 1)

    def struct(self, depth: int) -> dict[int, Any]:
        """Return the fields of a record by their numbers."""
        if depth > _DEEPEST:
            raise ValueError("records nested too deep")
        found: dict[int, Any] = {}
        field = 0
        while (head := self.byte()) & 0x0F != _STOP:
            field = field + (head >> 4) if head >> 4 else self.signed()
            kind = head & 0x0F
            found[field] = kind == _TRUE if kind in (_TRUE, _FALSE) else self.value(kind, depth)
        return found

    def value(self, kind: int, depth: int) -> Any:  # noqa: ANN401 - of any kind
        """Return a value of a kind."""
        if kind in _INTEGERS:
            return self.signed()
        if kind == _BINARY:
            length = self.number()
            self.at += length
            return self.data[self.at - length : self.at]
        if kind in (_LIST, _SET):
            head = self.byte()
            count = head >> 4 if head >> 4 < 15 else self.number()
            return [self.value(head & 0x0F, depth + 1) for _ in range(min(count, len(self.data)))]
        if kind == _STRUCT:
            return self.struct(depth + 1)
        if kind in (_TRUE, _FALSE, _BYTE):
            return self.byte()
        if kind == _DOUBLE:
            self.at += 8
            return None
        raise ValueError(f"kind {kind} stands in no Parquet footer")
