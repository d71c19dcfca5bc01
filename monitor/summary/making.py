"""The whole summary of a week: figures, words, pictures, pages; out of the store."""

import json
from datetime import datetime

import msgspec

from monitor.site.load import Configuration
from monitor.store.reader import Reader
from monitor.summary.charts import Draw, Drawn, drawn, picture
from monitor.summary.findings import findings
from monitor.summary.gather import view_of
from monitor.summary.headline import Occasion, headline, short_form, subject
from monitor.summary.letter import letter
from monitor.summary.lines import place_charts
from monitor.summary.pages.layout import mail_html, page_html
from monitor.summary.sections.conditions import CONDITIONS
from monitor.summary.summary import as_json, part_of, summarise
from monitor.summary.week import Week

SUMMARIES = "summaries"
"""Folder of all weeks, below the state directory."""
MAIL_TEXT, MAIL_HTML, PAGE, FIGURES = (
    "mail.txt",
    "mail.html",
    "page.html",
    "figures.json",
)
"""What lies in the folder of a week, beside its pictures."""


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """
    The summary of a week, in every form.

    Attributes:
        week: Its name, as ISO 8601 writes it.
        subject: Of its mail.
        headline: Its state in a line.
        short: For channels that carry no more than 160 letters.
        text: Of its mail; complete in itself.
        html: Of its mail, pictures as ``cid:NAME``.
        page: The whole week for the disk, pictures beside it.
        figures: For programs, as JSON.
        pictures: Name to PNG.
        without_pictures: Why there are none; "" where there are.
    """

    week: str
    subject: str
    headline: str
    short: str
    text: str
    html: str
    page: str
    figures: str
    pictures: dict[str, bytes]
    without_pictures: str

    def files(self) -> dict[str, bytes]:
        """Everything that is kept of it, by name of file."""
        words = {
            MAIL_TEXT: self.text,
            MAIL_HTML: self.html,
            PAGE: self.page,
            FIGURES: self.figures,
        }
        return {
            **{name: text.encode() for name, text in words.items()},
            **{f"{name}.png": png for name, png in self.pictures.items()},
        }


def make(
    reader: Reader,
    configuration: Configuration,
    week: Week,
    occasion: Occasion,
    *,
    now: datetime,
    draw: Draw = picture,
) -> Made:
    """
    Make the summary of a week.

    The store is let go before anything is drawn, which takes longest (Q4).

    Args:
        reader: Of the store.
        configuration: Site and species, as declared now.
        week: One that has begun.
        occasion: Number, next date, lateness.
        now: The present. UTC.
        draw: Draws a place; whatever it raises, the summary comes without pictures.

    Raises:
        StoreError: If the store cannot be read.
    """
    with view_of(reader, configuration, week, now=now) as view:
        summary = summarise(view)
        conditions = part_of(summary, CONDITIONS)
        charts = place_charts(view, conditions) if conditions is not None else ()
    there = drawn(charts, draw)
    found = findings(summary)
    said = headline(summary, found, late=occasion.late)
    whole = f"{SUMMARIES}/{week}/{PAGE}"
    html, _ = mail_html(summary, occasion, there, page=whole)
    figures = as_json(summary) | {
        "headline": said,
        "look": msgspec.to_builtins(found),
        "occasion": msgspec.to_builtins(occasion),
        "without_pictures": there.failed,
    }
    return Made(
        week=str(week),
        subject=subject(summary, found, late=occasion.late),
        headline=said,
        short=short_form(summary, found, occasion),
        text=letter(summary, found, occasion, without_pictures=there.failed),
        html=html,
        page=page_html(summary, occasion, there),
        figures=json.dumps(figures, ensure_ascii=False, indent=1) + "\n",
        pictures=_pngs(there),
        without_pictures=there.failed,
    )


def _pngs(there: Drawn) -> dict[str, bytes]:
    return {one.name: one.png for one in there.pictures.values()}
