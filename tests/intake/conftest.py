"""Let the tests of this folder share its helpers."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
