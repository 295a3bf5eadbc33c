"""Makes the scripts of ``fit/`` importable: they are not part of the installed package."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
