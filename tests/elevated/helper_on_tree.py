"""The helper on a made-up tree: helper_on_tree.py SOURCE ROOT KEPT. Everything else is the helper's own."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(sys.argv[1])

from surefoot.rig.doors import doors
from surefoot.rig.elevated.helper import Helper, StandardPipe, ready
from surefoot.rig.elevated.kept import Kept

ready()
kept = Kept(Path(sys.argv[3]), "this-boot")
if not kept.alone(10.0):
    sys.exit(3)
sys.exit(Helper(StandardPipe(), doors(Path(sys.argv[2])), kept).serve())
