"""The distributions are scipy's own, loaded without what is written into their descriptions."""

import subprocess
import sys

_TOLD = """
import scipy._lib._array_api as described
from monitor.trend import special
import scipy.special
print(all(getattr(special, name) is getattr(scipy.special, name) for name in special.__all__))
print(described.xp_capabilities.__module__ == described.__name__)
print("Array API" in scipy.special.stdtr.__doc__, "Student" in scipy.special.stdtr.__doc__)
"""


def test_nothing_is_written_into_descriptions_while_the_distributions_load() -> None:
    done = subprocess.run([sys.executable, "-c", _TOLD], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "True", "False", "True"]
