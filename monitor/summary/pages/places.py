"""Conditions as HTML: a card for each probe place, its picture, its figures."""

from collections.abc import Iterator, Sequence

from monitor.summary.charts import WIDTH
from monitor.summary.findings import Finding, nothing_suits, range_words
from monitor.summary.pages.markup import card, heading, image, items, paragraph, table
from monitor.summary.pages.telling import DEGREE, Telling
from monitor.summary.sections.conditions import (
    MEANING,
    Figures,
    HandFigures,
    ProbeFigures,
    spell_lines,
)
from monitor.summary.timeline import Range
from monitor.summary.words import brief, many, percent, unit, value

COLUMNS = ("", "lowest", "mean", "highest", "in band", "heard")

LEGEND = (
    "In the pictures: between the green lines is what all tolerate, dashed red is the "
    "danger limit where it is near, dark ground is the night, and slanting lines stand "
    "where nothing was heard. Out of range the line is thick and red, with a bar below "
    "it and a triangle at the worst."
)

Place = tuple[ProbeFigures, ...]


def conditions(told: Figures, telling: Telling) -> str:
    """Every place, those with an exception first, and what was read by hand."""
    places = ordered(told, telling.found)
    carded, rest = _carded(places, telling)
    cards = "".join(_card(place, telling, told.time_zone) for place in carded)
    hands = table(
        ("by hand", "lowest", "highest", "read"),
        (_hand(hand) for hand in told.by_hand[: telling.detail.hands]),
    )
    hidden = len(told.by_hand) - telling.detail.hands
    also = paragraph(f"and {hidden} more places read by hand") if hidden > 0 else ""
    none = "" if places else card(paragraph("There is no probe."))
    key = paragraph(MEANING, "small")
    if telling.drawn.pictures:
        key += paragraph(LEGEND, "small")
    return key + cards + _rest(rest, telling) + none + card(hands + also)


def ordered(told: Figures, found: Sequence[Finding]) -> list[Place]:
    """The probes of each place: what asks for a look first, calm tubs last."""
    places: dict[str, list[ProbeFigures]] = {}
    for probe in told.probes:
        places.setdefault(probe.place, []).append(probe)
    worst = {f.place: number for number, f in reversed(list(enumerate(found)))}

    def rank(place: str) -> tuple[int, bool]:
        return worst.get(place, len(found)), places[place][0].in_tub

    return [tuple(places[place]) for place in sorted(places, key=rank)]


def _carded(
    places: Sequence[Place], telling: Telling
) -> tuple[Sequence[Place], Sequence[Place]]:
    """Those with a card of their own, and the rest; of tubs only the exceptions."""
    exceptions = {f.place for f in telling.found}
    calm = sum(p[0].in_tub and p[0].place not in exceptions for p in places)
    cards = len(places) if telling.detail.all_tubs else len(places) - calm
    cards = min(cards, telling.detail.cards)
    return places[:cards], places[cards:]


def _card(place: Place, telling: Telling, zone: str) -> str:
    first = place[0]
    parts = [
        heading(3, first.where),
        _picture(place, telling),
        table(COLUMNS, (_row(probe, place) for probe in place)),
    ]
    for probe in place:
        spells = spell_lines(probe, zone, most=telling.detail.spells, degree=DEGREE)
        label = _label(probe, place)
        parts.append(items((_spelled(label, said) for said in spells), "spells"))
        parts.append(paragraph(f"{label}: {bands_words(probe)}", "small"))
    return card("".join(parts), "out" if any(p.spells for p in place) else "")


def _spelled(label: str, said: str) -> str:
    return said if said.startswith("and ") else f"{label} {said}"


def _picture(place: Place, telling: Telling) -> str:
    drawn = telling.drawn.pictures.get(place[0].place)
    if drawn is None:
        return ""
    return image(
        telling.source(drawn.name), alt_text(place), width=WIDTH, height=drawn.height
    )


def alt_text(place: Place) -> str:
    """The picture in words: what it shows, with its figures."""
    said = [f"The week at {place[0].where}."]
    for probe in place:
        label = brief(probe.quantity).capitalize()
        if probe.n == 0:
            said.append(f"{label}: not heard.")
            continue
        sign = unit(probe.quantity, DEGREE)
        low, mean, high = (
            value(v, probe.quantity) for v in (probe.lowest, probe.mean, probe.highest)
        )
        words = range_words(probe, DEGREE) if probe.spells else "never out of range"
        if probe.in_band_share is None:
            words = "no band"
        said.append(f"{label} {low} to {high} {sign}, mean {mean}; {words}.")
    return " ".join(said)


def bands_words(probe: ProbeFigures) -> str:
    """What the probe was held against at the end, and how many depend on it."""
    day, night = probe.tolerated["day"], probe.tolerated["night"]
    depend = f"{many(probe.cohorts, 'cohort')} depend on it"
    if probe.cohorts == 1:
        depend = "1 cohort depends on it"
    if probe.perhaps:
        who = "" if probe.cohorts == 1 else "some "
        depend += f", {who}perhaps already {' or '.join(probe.perhaps)}"
    if day is None and night is None:
        return "no band is named for it"
    if nothing_suits(probe):
        return f"nothing suits all who depend on it ({many(probe.cohorts, 'cohort')})"
    said = f"tolerated {_two(day, night, probe)}"
    limits = probe.danger["day"], probe.danger["night"]
    if any(limits):
        said += f", danger outside {_two(*limits, probe)}"
    moved = "; hung elsewhere earlier in the week" if probe.moved else ""
    return f"{said}; {depend if probe.cohorts else 'a limit of the place'}{moved}"


def _two(day: Range | None, night: Range | None, probe: ProbeFigures) -> str:
    if day == night:
        return _band(day, probe)
    return f"{_band(day, probe)} by day, {_band(night, probe)} at night"


def _band(band: Range | None, probe: ProbeFigures) -> str:
    if band is None:
        return "anything"
    return f"{band[0]:g} to {band[1]:g} {unit(probe.quantity, DEGREE)}"


def _label(probe: ProbeFigures, place: Place) -> str:
    twice = sum(p.quantity is probe.quantity for p in place) > 1
    word = brief(probe.quantity)
    return f"{word} ({probe.sensor})" if twice else word


def _row(probe: ProbeFigures, place: Place, before: str = "") -> tuple[str, ...]:
    sign = unit(probe.quantity, DEGREE)
    return (
        f"{before}{_label(probe, place)}, {sign}",
        value(probe.lowest, probe.quantity),
        value(probe.mean, probe.quantity),
        value(probe.highest, probe.quantity),
        percent(probe.in_band_share),
        percent(probe.coverage),
    )


def _rest(places: Sequence[Place], telling: Telling) -> str:
    """Places without a card, a row for each series."""
    rows = list(_rows(places))
    shown = rows[: telling.detail.rows]
    if not rows:
        return ""
    where = f" Their pictures are on {telling.page}." if telling.drawn.pictures else ""
    said = f"{many(len(places), 'more place')}.{where}"
    hidden = len(rows) - len(shown)
    more = paragraph(f"and {hidden} more rows on {telling.page}") if hidden > 0 else ""
    return card(
        heading(3, "Further places") + paragraph(said) + table(COLUMNS, shown) + more
    )


def _rows(places: Sequence[Place]) -> Iterator[tuple[str, ...]]:
    for place in places:
        for probe in place:
            yield _row(probe, place, f"{probe.where}: ")


def _hand(hand: HandFigures) -> tuple[str, ...]:
    sign = unit(hand.quantity, DEGREE)
    label = f"{hand.where}: {brief(hand.quantity)}, {sign}".rstrip(", ")
    low, high = (value(v, hand.quantity) for v in (hand.lowest, hand.highest))
    return label, low, high, "once" if hand.n == 1 else f"{hand.n} times"
