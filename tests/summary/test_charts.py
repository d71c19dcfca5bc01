"""The pictures: small, of the size that the page keeps free, with what is in them."""

import io
import sys

import numpy as np
import pytest
from PIL import Image

from monitor.summary import charts
from monitor.summary.charts import (
    ALARM,
    PLOT,
    WIDTH,
    Picture,
    drawn,
    picture,
    round_values,
)
from monitor.summary.lines import place_charts
from monitor.summary.sections import conditions
from tests.summary.house import DAY, START, hourly


def chart_of(house, place="shelf-b", week=None):
    """What is drawn of a place."""
    view = week or house.week()
    found = place_charts(view, conditions.figures(view))
    return next(chart for chart in found if chart.place == place)


def pixels(made):
    with Image.open(io.BytesIO(made.png)) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def near(image, colour, by=40):
    """How many pixels are about of a colour."""
    wanted = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return int((np.abs(image - wanted).max(axis=2) < by).sum())


@pytest.fixture
def busy(quillmere):
    """Shelf B: noise of one reading a minute, and one short spell."""
    quillmere.tub(START - DAY, parent="shelf-b").start(START - DAY, stage="L1")
    noise = np.random.default_rng(3).normal(24, 0.3, 168 * 60)
    noise[4321] = 31.0
    line = [(n / 60, v) for n, v in enumerate(noise.tolist())]
    damp = np.random.default_rng(4).normal(70, 2, 168 * 60).tolist()
    quillmere.measure("b-air", line)
    return quillmere.measure(
        "b-humidity", [(n / 60, v) for n, v in enumerate(damp)], "relative_humidity"
    )


def test_a_busy_week_is_a_small_picture_of_twice_the_size(busy):
    """At most 25 kB, without transparency, as wide as a phone's column."""
    made = picture(chart_of(busy))

    with Image.open(io.BytesIO(made.png)) as image:
        assert image.size == (2 * WIDTH, 2 * made.height)
        assert image.mode == "P"
        assert "transparency" not in image.info
    assert len(made.png) <= 25_000
    assert made.name == "shelf-b"


def test_one_minute_out_of_range_can_be_seen(busy, quillmere):
    """The mark of a spell has its colour, and a form of its own beside it."""
    seen = near(pixels(picture(chart_of(busy))), ALARM)

    # a triangle, a bar at least 3 px wide and 5 high, figures: all at twice the size
    assert seen > 150


def test_a_week_without_a_spell_has_nothing_of_its_colour(quillmere):
    """So the colour means one thing."""
    quillmere.tub(START - DAY, parent="shelf-b").start(START - DAY, stage="L1")
    quillmere.measure("b-air", hourly(24))

    assert near(pixels(picture(chart_of(quillmere))), ALARM) == 0


def test_a_gap_shows_its_ground(quillmere):
    """Where nothing was heard the line is broken: no ink between its ends."""
    quillmere.measure("b-air", [*hourly(24, 0, 60), *hourly(24, 100)])
    image = pixels(picture(chart_of(quillmere)))

    left = (
        charts.LEFT
        + (WIDTH - charts.LEFT - charts.RIGHT) * np.array([40, 66, 80, 94, 120]) / 168
    )
    # the upper panel alone: from its head to its foot
    panel = image[2 * charts.HEAD : 2 * (charts.HEAD + charts.TEMPERATURE_HEIGHT)]
    columns = [panel[:, [round(2 * x)]] for x in left.tolist()]
    inked = [near(column, charts.INK, by=25) > 0 for column in columns]

    assert inked[0]
    assert inked[4]
    assert not inked[1]
    assert not inked[3]


@pytest.mark.parametrize("hour", [0, 24])
def test_an_empty_or_unfinished_week_is_drawn_too(quillmere, hour):
    """No reading, or one day of seven."""
    quillmere.measure("b-air", hourly(24, 0, hour) if hour else [])
    week = quillmere.week(now=START + DAY)

    made = picture(chart_of(quillmere, week=week))

    assert near(pixels(made), PLOT) > 1000


def test_whatever_fails_there_are_no_pictures_and_a_reason(busy, caplog):
    """P4: half a row of pictures would look like a whole one."""
    found = [chart_of(busy, "shelf-a"), chart_of(busy, "shelf-b")]

    def broken(chart):
        if chart.place == "shelf-b":
            raise RuntimeError("no font\nanywhere")
        return Picture(chart.place, b"", 1)

    got = drawn(found, broken)

    assert got.pictures == {}
    assert got.failed == (
        "the charts could not be drawn (RuntimeError: no font anywhere)"
    )
    assert "charts failed" in caplog.text


def test_a_library_that_is_missing_costs_the_pictures_alone(busy, monkeypatch):
    """P4: an import that fails is a reason like any other."""
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)

    got = drawn([chart_of(busy)])

    assert "ModuleNotFoundError" in got.failed


@pytest.mark.parametrize(
    ("low", "high", "values"),
    [
        (13.0, 29.0, [15, 20, 25]),
        (23.2, 27.2, [24, 25, 26, 27]),
        (150, 2600, [1000, 2000]),
        (0.1, 0.9, [0.2, 0.4, 0.6, 0.8]),
        (-7, 3, [-5, 0]),
    ],
)
def test_the_scale_has_few_round_values(low, high, values):
    """Between two and five of them."""
    assert round_values(low, high) == values
