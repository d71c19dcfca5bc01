"""The few pieces of HTML that the week is made of; every text is escaped here."""

from collections.abc import Iterable, Sequence
from html import escape


def paragraph(text: str, kind: str = "") -> str:
    """A paragraph, or nothing."""
    if not text:
        return ""
    return f"<p{_kind(kind)}>{escape(text)}</p>"


def heading(level: int, text: str) -> str:
    """A heading."""
    return f"<h{level}>{escape(text)}</h{level}>"


def items(lines: Iterable[str], kind: str = "") -> str:
    """A list, or nothing."""
    inner = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul{_kind(kind)}>{inner}</ul>" if inner else ""


def pairs(lines: Iterable[tuple[str, str]]) -> str:
    """A list of which each item begins with a name in bold."""
    inner = "".join(f"<li><b>{escape(a)}</b>: {escape(b)}</li>" for a, b in lines)
    return f"<ul>{inner}</ul>" if inner else ""


def table(head: Sequence[str], rows: Iterable[Sequence[str]], caption: str = "") -> str:
    """A table whose first column names its rows; nothing without a row."""
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>'
        + "".join(f"<td>{escape(cell)}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    if not body:
        return ""
    said = f"<caption>{escape(caption)}</caption>" if caption else ""
    names = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    return f"<table>{said}<tr>{names}</tr>{body}</table>"


def image(source: str, alt: str, *, width: int, height: int) -> str:
    """A picture whose place is kept free while it loads."""
    return (
        f'<img src="{escape(source)}" alt="{escape(alt)}" '
        f'width="{width}" height="{height}">'
    )


def card(inner: str, kind: str = "") -> str:
    """A part that belongs together, or nothing."""
    return f'<div class="{f"card {kind}".strip()}">{inner}</div>' if inner else ""


def folded_away(title: str, inner: str) -> str:
    """What only some want to see; nothing without content."""
    if not inner:
        return ""
    return f"<details><summary>{escape(title)}</summary>{inner}</details>"


def _kind(kind: str) -> str:
    return f' class="{kind}"' if kind else ""
