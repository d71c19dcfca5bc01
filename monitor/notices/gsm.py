"""Text for one short message: the alphabet, its length, and how to fit into it (N6)."""

import unicodedata

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""3GPP TS 23.038 (GSM 03.38), clause 6.2.1: one septet each."""

EXTENSION = frozenset("\f^{}\\[~]|€")
"""Clause 6.2.1.1: the escape and the character, two septets."""

LIMIT = 160
"""Septets of one message that is not split (140 octets, TS 23.040)."""

UNKNOWN = "?"
"""Stands for a letter that the alphabet does not know."""

_NEAREST = str.maketrans(
    {
        "°": "",
        "\u2019": "'",
        "\u2018": "'",
        "“": '"',
        "”": '"',
        "„": '"',
        "«": '"',
        "»": '"',
        "\u2013": "-",
        "—": "-",
        "\u2212": "-",
        "\u2011": "-",
        "…": "...",
        "±": "+/-",
        "\u00d7": "x",
        "·": "-",
        "•": "-",
        "→": "->",
        "≤": "<=",
        "≥": ">=",
        "µ": "u",
        "μ": "u",
        "♀": "female",
        "♂": "male",
        "œ": "oe",
        "Œ": "OE",
        "ł": "l",
        "Ł": "L",
        "đ": "d",
        "Đ": "D",
        "ð": "d",
        "Ð": "D",
        "þ": "th",
        "Þ": "Th",
        "\u0131": "i",
        "ħ": "h",
        "Ħ": "H",
        "ŧ": "t",
        "Ŧ": "T",
        "ŋ": "n",
        "Ŋ": "N",
        "`": "'",
    }
)


def gsm7_length(text: str) -> int:
    """
    Count the septets of a text in the GSM 7-bit default alphabet.

    Characters of the extension table count two.

    Raises:
        ValueError: If a character is in neither table; it would turn the whole
            message into UCS-2 and leave 70 characters.

    References:
        3GPP TS 23.038 (formerly GSM 03.38), clauses 6.2.1 and 6.2.1.1.
    """
    total = 0
    for char in text:
        if char in BASIC:
            total += 1
        elif char in EXTENSION:
            total += 2
        else:
            raise ValueError(f"{char!r} is not in the GSM 7-bit alphabet")
    return total


def to_gsm7(text: str) -> str:
    """
    Write a text on one line in the alphabet: nearest letters, accents dropped last.

    A letter without a likeness becomes a question mark; white space is collapsed.
    """
    found: list[str] = []
    for char in text.translate(_NEAREST):
        if char in BASIC or char in EXTENSION:
            found.append(char)
            continue
        bare = [
            part
            for part in unicodedata.normalize("NFKD", char)
            if not unicodedata.combining(part)
        ]
        found += [
            part
            if part in BASIC or part in EXTENSION
            else " "
            if part.isspace()
            else UNKNOWN
            for part in bare
            if unicodedata.category(part) not in {"Cc", "Cf"} or part.isspace()
        ]
    return " ".join("".join(found).split())


def readable(text: str) -> bool:
    """Tell whether more than half of a text survived `to_gsm7`."""
    return bool(text) and text.count(UNKNOWN) * 2 < len(text)


def clip(text: str, limit: int) -> str:
    """Shorten a text of the alphabet to so many septets, with two dots at the cut."""
    if gsm7_length(text) <= limit:
        return text
    kept, used = [], 2
    for char in text:
        used += 1 if char in BASIC else 2
        if used > limit:
            break
        kept.append(char)
    return ("".join(kept).rstrip(" ,;:-") + "..")[: max(limit, 0)]
