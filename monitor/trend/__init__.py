"""The trend room: numbers about readings, and what the rules make of them; no path, clock or page in here.

scipy.special looks at all that NumPy offers, and so would load what nobody asks for here (a wrapper of Fortran, tools
of tests), which takes as long as all of this room. These load once somebody uses them.
"""

import sys
from importlib.util import LazyLoader, find_spec, module_from_spec

import numpy as np

for _name in ("char", "ctypeslib", "f2py", "ma", "polynomial", "random", "rec", "testing"):
    _spec = None if f"numpy.{_name}" in sys.modules else find_spec(f"numpy.{_name}")
    if _spec and _spec.loader:
        _spec.loader = LazyLoader(_spec.loader)
        _module = module_from_spec(_spec)
        sys.modules[_spec.name] = _module
        _spec.loader.exec_module(_module)
        setattr(np, _name, _module)
