"""
A notice as HTML for a mail reader on a phone, by day and by night.

One column, no script, nothing from outside (E6), no table wider than the glass. The
strip at the top and each card's left edge carry the priority as word and as colour, so
that nobody needs the colour.
"""

from collections.abc import Sequence
from html import escape
from string import Template

from monitor.notices.phrases import plain, sentence
from monitor.notices.story import WORDS_LIMIT, Group, Story
from monitor.site.words import Priority

HTML_LIMIT = 90_000
"""A common mail reader clips longer parts at about 102 kB (E7). [bytes]"""

_TONE = {
    Priority.URGENT: "urgent",
    Priority.PROMPT: "prompt",
    Priority.NOTE: "note",
}

_STYLE = """
:root{color-scheme:light dark;supported-color-schemes:light dark}
body{margin:0;padding:12px;background:#efece4;color:#221f1a;
font:17px/1.45 Georgia,'Times New Roman',serif;-webkit-text-size-adjust:100%}
.page{max-width:560px;margin:0 auto}
.card{background:#fffdf8;border-left:8px solid #6c6a60;border-radius:3px;
padding:16px 16px 6px;margin:0 0 14px}
.urgent{border-left-color:#b3261e}.prompt{border-left-color:#a15c00}
.note{border-left-color:#4a6150}.over{border-left-color:#4a6150}
.word{font:bold 14px/1.3 Verdana,sans-serif;letter-spacing:.04em;margin:0 0 6px}
.urgent .word{color:#b3261e}.prompt .word{color:#8a4f00}
.note .word,.over .word{color:#3d5344}
h1{font-size:25px;line-height:1.2;margin:0 0 4px}
.way{margin:0 0 12px;color:#57523a}
.figure{font-size:30px;line-height:1.15;font-weight:bold;margin:0}
.beside{margin:0 0 2px}
.going{margin:0 0 12px;font-weight:bold}
.not{border:2px solid #b3261e;border-radius:3px;padding:10px 12px;margin:0 0 14px}
h2{font:bold 14px/1.3 Verdana,sans-serif;margin:0 0 4px}
.not h2{color:#b3261e}
p{margin:0 0 12px}.not p{margin:0 0 6px}
ul{margin:0 0 12px;padding:0 0 0 18px}li{margin:0 0 3px}
.who{margin:0 0 2px;font-weight:bold}
.where{margin:0 0 2px}
.small{font-size:15px;color:#57523a}
code{font:15px/1.4 'Courier New',monospace;display:block;background:#efece4;
padding:8px 10px;border-radius:3px;overflow-wrap:anywhere}
.foot{font-size:14px;color:#57523a}
.foot,.next{padding:0 24px}
h1,p,li,.figure{overflow-wrap:anywhere}
@media (prefers-color-scheme:dark){
body{background:#171612;color:#ece7da}
.card{background:#232119}
.way,.small,.foot{color:#bdb5a0}
code{background:#171612}
.urgent .word,.not h2{color:#ff9d92}.not{border-color:#ff9d92}
.urgent{border-left-color:#ff8a7d}
.prompt .word{color:#f2b45f}.prompt{border-left-color:#f2b45f}
.note .word,.over .word{color:#a9c9b2}
.note,.over{border-left-color:#8fb29a}
}
"""

_PAGE = Template(
    """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>$title</title><style>$style</style></head>
<body><div class="page">
$cards
<p class="foot">$footer</p>
</div></body></html>
"""
)


def render(
    *,
    mark: str,
    over: bool,
    opening: str,
    stories: Sequence[Story],
    others: Sequence[str],
    untold: int,
    groups: int,
    answer_by: str,
    footer: str,
) -> str:
    """
    Lay a notice out.

    Args:
        mark: What is added to the priority, such as ", worse".
        over: The alarms are over.
        opening: Why it is told now, or "".
        stories: Alarms told in full, the most pressing first.
        others: Alarms told in a line each.
        untold: How many more there are.
        groups: Most groups of cohorts of one alarm.
        answer_by: Who is told next, or "".
        footer: Program and site.
    """
    cards = [
        _card(story, mark=mark, over=over, opening=opening, groups=groups)
        for story in stories
    ]
    rest = [_items(others)] if others else []
    if untold:
        rest.append(_p(f"And {untold} more: rearing-monitor alarms list"))
    if rest:
        cards.append(f'<div class="card note"><h2>Also</h2>{"".join(rest)}</div>')
    if answer_by:
        cards.append(_p(answer_by, "next"))
    return _PAGE.substitute(
        title=escape(stories[0].headline),
        style=_STYLE,
        cards="\n".join(cards),
        footer=escape(footer),
    )


def _p(text: str, kind: str = "") -> str:
    """A paragraph, or nothing."""
    if not text:
        return ""
    return f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def _items(lines: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(t)}</li>" for t in lines) + "</ul>"


def _headed(title: str, text: str) -> str:
    return f"<h2>{escape(title)}</h2>{_p(text)}" if text else ""


def _card(story: Story, *, mark: str, over: bool, opening: str, groups: int) -> str:
    """One alarm."""
    tone = "over" if over else _TONE[story.alarm.priority]
    title = story.title if story.title != story.what else ""
    parts = [
        _p(f"{story.priority.upper()}{mark.upper()} · alarm {story.alarm.id}", "word"),
        f"<h1>{escape(sentence(story.what).rstrip('.'))}</h1>",
        _p(story.where, "way"),
        _not(story.cautions),
        _p(sentence(story.figure).rstrip("."), "figure"),
        _p(sentence(", ".join(t for t in (story.beside, title) if t)), "beside"),
        _p(sentence("; ".join(t for t in (story.going, story.left) if t)), "going"),
        _p(f"Since {story.begun}."),
        _p(opening),
        _p(story.status),
        _p(sentence(plain(story.alarm.detail, WORDS_LIMIT))),
    ]
    if not over:
        first = sentence(plain(story.words.first_action, WORDS_LIMIT))
        parts.append(_headed("First", first))
    parts.append(_who(story, over=over, groups=groups))
    if not over:
        meaning = sentence(plain(story.words.meaning, WORDS_LIMIT))
        causes = plain("; ".join(story.words.causes), WORDS_LIMIT)
        parts.append(_p(meaning, "small"))
        parts.append(_p(f"Often: {causes}." if causes else "", "small"))
    if not over or story.alarm.closed_at is None:
        parts.append(f"<h2>Answer</h2><p><code>{escape(story.answer)}</code></p>")
    return f'<div class="card {tone}">{"".join(parts)}</div>'


def _not(cautions: Sequence[str]) -> str:
    if not cautions:
        return ""
    told = "".join(_p(c) for c in cautions)
    return f'<div class="not"><h2>What not to do</h2>{told}</div>'


def _who(story: Story, *, over: bool, groups: int) -> str:
    if not story.groups:
        return ""
    shown = story.groups[:groups]
    hidden = story.hidden + sum(g.counted for g in story.groups[groups:])
    cohorts = "cohort" if story.counted == 1 else "cohorts"
    ask = "Look at" if over else "Who is at risk"
    told = "".join(_group(g) for g in shown)
    more = _p(f"and {hidden} more") if hidden else ""
    return f"<h2>{ask} ({story.counted} {cohorts})</h2>{told}{more}"


def _group(group: Group) -> str:
    return (
        _p(group.who, "who")
        + _p(sentence("; ".join(group.where)), "where")
        + _p(f"Allowed: {group.acts}. {group.caution}".strip(), "small")
    )
