"""Exit codes, one home. 1 and 2 are the interpreter's and the parser's own (a fault of the program; wrong usage)."""

from monitor import errors

OK = 0
ROWS_TO_MEND = 10
NOT_TAKEN = 11
STORE = 12
NOT_FOUND = 13
DAMAGED = 14
NOT_POSSIBLE = 15
ALTERED = 16
SUPERSEDED = 17
NOT_TOLD = 18

MEANING = {
    OK: "all went well",
    2: "the command was written wrongly",
    ROWS_TO_MEND: "taken in, but some rows are held or rejected; see the mend sheet",
    NOT_TAKEN: "a file could not be taken in at all (nothing of it was stored)",
    STORE: "the store is missing, damaged or cannot be written",
    NOT_FOUND: "no such wall, reading, assessment or page",
    DAMAGED: "damage was found; what was shown or written is not whole",
    NOT_POSSIBLE: "what was asked cannot be done as asked",
    ALTERED: "a page is not byte for byte as it was written, or could not be rebuilt so",
    SUPERSEDED: "a page is as it was written, but another has taken its place",
    NOT_TOLD: "somebody could not be told of alerts yet; what is left is told by the next run",
}

TABLE = "Exit codes: " + "; ".join(f"{code} {meaning}" for code, meaning in MEANING.items()) + "."


def of(error: errors.BowError) -> int:
    """The exit code of an error."""
    if isinstance(error, errors.IntakeError | errors.LengthError):
        return NOT_TAKEN
    if isinstance(error, errors.StoreError):
        return STORE
    if isinstance(error, errors.NotFoundError):
        return NOT_FOUND
    return NOT_POSSIBLE
