"""The reviewed facts: a strict loader, and the data as TOML and TSV beside it."""
