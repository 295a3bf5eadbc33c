"""Write the JSON Schema of the case file: ``python -m squibwise.intake.case_file FILE``."""

import sys
from pathlib import Path

import msgspec

from squibwise.intake.case_file.schema import schema


def write_schema(path: Path) -> None:
    """Write the schema that is made from the records."""
    text = msgspec.json.format(msgspec.json.encode(schema()), indent=2)
    path.write_bytes(text + b"\n")


if __name__ == "__main__":
    write_schema(Path(sys.argv[1]))
