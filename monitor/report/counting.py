"""Numbers of things in the office's English."""


def count_text(number: int, noun: str) -> str:
    """'1 visit', '4 visits'."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
