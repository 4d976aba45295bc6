import sys
from pathlib import Path

# The pen that listens is shared with the tests of the screen.
sys.path.insert(0, str(Path(__file__).parents[1] / "adapters"))
