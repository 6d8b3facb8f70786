"""What the office of the demo decided after the list of March, and the call it made before that of April went out."""

from monitor.demo.register import CLERK, ENGINEER
from monitor.demo.tables import Table
from monitor.terms import Step


def table() -> Table:
    """In the order of time."""
    return [
        {
            "decided at": "2026-04-01T08:30:00Z",
            "wall": "DH-02-E",
            "step": Step.CALL_ENGINEER.value,
            "owner": ENGINEER,
            "due": "2026-05-15",
            "who": CLERK,
            "why": "leans in at its foot by every reading since the straps; to be seen before the next visit",
        },
        {
            "decided at": "2026-04-01T08:45:00Z",
            "wall": "DH-09-E",
            "step": Step.VISIT_SOONER.value,
            "owner": CLERK,
            "due": "2026-05-08",
            "who": CLERK,
            "why": "no visit for years; the owner has been written to again",
        },
        {
            "decided at": "2026-05-01T08:10:00Z",
            "wall": "DH-12-S",
            "step": Step.CALLED_HOMEOWNER.value,
            "owner": CLERK,
            "due": "2026-05-01",
            "who": CLERK,
            "why": "told of the change and of the box to stay out; a technician comes today to read the wall again",
        },
    ]
