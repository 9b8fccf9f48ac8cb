"""Where the board's sources lie: in the tree beside this package, in a wheel as data. With this imported, those of them that
need no hardware can be imported by their own names, as in the tree.
"""

import sys
from pathlib import Path

import changeover

_BESIDE = Path(changeover.__file__).parents[1]
FIRMWARE = _BESIDE if (_BESIDE / "main.py").exists() else _BESIDE / "secondtank" / "firmware"

if str(FIRMWARE) not in sys.path:
    sys.path.append(str(FIRMWARE))
