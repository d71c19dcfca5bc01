"""RFC 6901: one value out of a JSON document."""


class NotThereError(ValueError):
    """The pointer leads to nothing in this document."""


def parse_pointer(pointer: str) -> tuple[str, ...]:
    """
    Split a JSON pointer into its reference tokens.

    Raises:
        ValueError: If it is not empty and does not begin with "/".
    """
    if pointer and not pointer.startswith("/"):
        raise ValueError(f'pointer "{pointer}" must be empty or begin with "/"')
    # RFC 6901 section 4: first ~1, then ~0, so that "~01" becomes "~1".
    return tuple(
        token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:]
    )


def follow(document: object, tokens: tuple[str, ...]) -> object:
    """
    Fetch what a pointer points at.

    Raises:
        NotThereError: If the document has no such member.
    """
    found = document
    for token in tokens:
        if isinstance(found, dict) and token in found:
            found = found[token]
        elif isinstance(found, list) and _index(token, len(found)) is not None:
            found = found[int(token)]
        else:
            raise NotThereError(token)
    return found


def _index(token: str, length: int) -> int | None:
    """Array indices are ASCII digits without leading zero (RFC 6901 section 4)."""
    digits = token.isascii() and token.isdigit() and len(token) <= len(str(length))
    if not digits or (token[0] == "0" and len(token) > 1):
        return None
    return int(token) if int(token) < length else None
