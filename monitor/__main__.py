"""`python -m monitor` is the same as the command `wallbow`."""

from monitor.cli import run

run()
