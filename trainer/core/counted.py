"""So many of a thing, in words: one is said as one."""


def counted(number: int, what: str, more: str | None = None) -> str:
    """Return ``number`` with its word; ``more`` is the word for several, by default with an s."""
    return f"{number} {what if number == 1 else more or what + 's'}"
