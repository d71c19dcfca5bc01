"""
The week as a page for a phone, by day and by night: for the mail and for the disk.

One column, no script, nothing from outside (E6). The strip at a card's left edge says
by colour what a word beside it says too.
"""

from html import escape
from string import Template

import msgspec

from monitor.summary.charts import Drawn
from monitor.summary.findings import findings
from monitor.summary.headline import Occasion, headline
from monitor.summary.letter import closing, opening
from monitor.summary.pages.markup import card, heading, paragraph
from monitor.summary.pages.parts import look, part
from monitor.summary.pages.telling import (
    DEGREE,
    EVERYTHING,
    FOR_MAIL,
    Detail,
    Telling,
)
from monitor.summary.sections.alarms import ALARMS
from monitor.summary.summary import Summary, times

HTML_LIMIT = 90_000
"""A common mail reader clips longer parts at about 102 kB (E7). [bytes]"""

STYLE = """
:root{color-scheme:light dark;supported-color-schemes:light dark}
body{margin:0;padding:12px;background:#efece4;color:#221f1a;
font:17px/1.45 Georgia,'Times New Roman',serif;-webkit-text-size-adjust:100%}
.page{max-width:620px;margin:0 auto}
.card{background:#fffdf8;border-left:8px solid #c9c2ae;border-radius:3px;
padding:14px 14px 4px;margin:0 0 12px}
.urgent,.out{border-left-color:#b3261e}.prompt{border-left-color:#a15c00}
.note,.over{border-left-color:#4a6150}
.word{font:bold 14px/1.3 Verdana,sans-serif;letter-spacing:.03em;margin:0 0 4px}
.urgent .word{color:#b3261e}.prompt .word{color:#8a4f00}
.note .word,.over .word{color:#3d5344}
h1{font-size:26px;line-height:1.2;margin:4px 0 6px}
h2{font:bold 16px/1.3 Verdana,sans-serif;margin:26px 0 8px}
h3{font-size:18px;line-height:1.25;margin:0 0 8px}
p{margin:0 0 10px}.when{margin:0 0 4px}
.late{font-weight:bold}
ul{margin:0 0 10px;padding:0 0 0 18px}li{margin:0 0 5px}
.spells{font-weight:bold}
.small,.foot{font-size:15px;color:#57523a}
.foot{padding:0 4px}
img{display:block;width:100%;height:auto;max-width:560px;border-radius:3px;
margin:0 0 10px}
table{border-collapse:collapse;width:100%;margin:0 0 10px;font-size:15px;
font-variant-numeric:tabular-nums}
caption{text-align:left}
th,td{text-align:right;vertical-align:bottom;padding:4px 0 4px 8px;font-weight:normal;
border-bottom:1px solid #e3ddcf}
th:first-child{text-align:left;padding-left:0}
tr:first-child th{font-size:13px;color:#57523a}
h1,h3,p,li,th{overflow-wrap:anywhere}
td{white-space:nowrap}
a{color:inherit}
summary{margin:0 0 10px;cursor:pointer}
@media (prefers-color-scheme:dark){
body{background:#171612;color:#ece7da}
.card{background:#232119;border-left-color:#565040}
.urgent,.out{border-left-color:#ff8a7d}.prompt{border-left-color:#f2b45f}
.note,.over{border-left-color:#8fb29a}
.urgent .word{color:#ff9d92}.prompt .word{color:#f2b45f}
.note .word,.over .word{color:#a9c9b2}
.small,.foot,tr:first-child th{color:#bdb5a0}
th,td{border-bottom-color:#3d3a2e}
img{filter:brightness(.88)}
}
"""

PAGE = Template(
    """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>$title</title><style>$style</style></head>
<body><div class="page">
$body
</div></body></html>
"""
)


def mail_html(
    summary: Summary, occasion: Occasion, drawn: Drawn, *, page: str
) -> tuple[str, tuple[str, ...]]:
    """
    Lay the week out for its mail, with as much detail as a mail may have.

    Args:
        summary: The week.
        occasion: Number, next date, lateness.
        drawn: The pictures; those that the mail shows stand in it as ``cid:NAME``.
        page: Where the whole of it is, in words.

    Returns:
        The HTML, below `HTML_LIMIT` bytes, and the names of the pictures in it.
    """
    html, shown = "", tuple[str, ...]()
    for detail in FOR_MAIL:
        html, shown = _laid_out(summary, occasion, drawn, detail=detail, page=page)
        if len(html.encode()) < HTML_LIMIT:
            break
    return html, shown


def page_html(summary: Summary, occasion: Occasion, drawn: Drawn) -> str:
    """Lay the whole week out for the disk, with pictures beside it."""
    return _laid_out(summary, occasion, drawn, detail=EVERYTHING, page="")[0]


def _laid_out(
    summary: Summary, occasion: Occasion, drawn: Drawn, *, detail: Detail, page: str
) -> tuple[str, tuple[str, ...]]:
    shown: dict[str, None] = {}

    def address(name: str) -> str:
        shown[name] = None
        return f"cid:{name}" if page else f"{name}.png"

    telling = Telling(
        summary=summary,
        found=findings(summary, degree=DEGREE),
        occasion=occasion,
        drawn=drawn,
        detail=detail,
        source=address,
        page=page,
    )
    body = [_top(telling), *_parts(telling), *_end(telling)]
    title = headline(summary, telling.found, late=occasion.late)
    html = PAGE.substitute(title=escape(title), style=STYLE, body="\n".join(body))
    return html, tuple(shown)


def _top(telling: Telling) -> str:
    summary, occasion = telling.summary, telling.occasion
    said = opening(summary, occasion)
    late, glance = said[: int(occasion.late)], said[int(occasion.late) :]
    return (
        heading(1, headline(summary, telling.found, late=occasion.late))
        + paragraph(summary.site, "when")
        + "".join(paragraph(line.strip(), "when") for line in times(summary))
        + "".join(card(paragraph(line, "late"), "prompt") for line in late)
        + paragraph(" ".join(glance))
    )


def _parts(telling: Telling) -> list[str]:
    """Alarms first, then what else asks for a look, then all the rest."""
    parts = [part(section, told, telling) for section, told in telling.summary.parts]
    first = telling.summary.parts[:1]
    after = 1 if first and first[0][0].id == ALARMS.id else 0
    return [*parts[:after], look(telling), *parts[after:]]


def _end(telling: Telling) -> list[str]:
    said = closing(telling.summary, telling.occasion, telling.drawn.failed)
    lines = [paragraph(line, "foot") for line in said]
    if telling.page:
        whole = f"Every figure and picture of the week is on {telling.page}."
        return [paragraph(whole, "foot"), *lines]
    return [*lines, '<p class="foot"><a href="../index.html">All weeks</a></p>']


class Listed(msgspec.Struct, frozen=True):
    """A week of the index: its name, its state in words, its page."""

    week: str
    said: str
    page: str


def index_html(weeks: list[Listed]) -> str:
    """List the weeks that are kept, as they are given."""
    rows = "".join(
        f'<tr><th scope="row"><a href="{escape(one.page)}">{escape(one.week)}</a></th>'
        f'<td class="said">{escape(one.said)}</td></tr>'
        for one in weeks
    )
    head = '<tr><th scope="col">week</th><th scope="col">how it was</th></tr>'
    body = (
        heading(1, "Weekly summaries")
        + card(f"<table>{head}{rows}</table>")
        + paragraph("Old weeks are kept until you delete their folders.", "foot")
    )
    style = (
        f"{STYLE}.said{{white-space:normal}}"
        "th,.said{text-align:left;vertical-align:top}th{white-space:nowrap}"
    )
    return PAGE.substitute(title="Weekly summaries", style=style, body=body)
