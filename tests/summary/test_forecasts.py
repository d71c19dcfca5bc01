"""The section on forecasts: how often they held, for people and programs."""

import numpy as np

from monitor.accounts.scoring import Scored
from monitor.clock import from_us
from monitor.heart.events import Reading
from monitor.store import Reader, Writer
from monitor.summary.gather import view_of
from monitor.summary.sections import forecasts
from monitor.summary.words import WIDTH
from tests.accounts.house import steady
from tests.summary.house import AIR, DAY, END, START, WEEK

NAME = "Exemplum calidum"


def score(cohort, *, inside=1.0, error=0.0, stage="egg", name=NAME):
    return Scored(
        cohort=cohort,
        species="lowland",
        name=name,
        stage=stage,
        made_at=START - 20 * DAY,
        p10=START,
        p50=START + DAY,
        p90=START + 2 * DAY,
        after=START,
        by=START + DAY,
        inside_low=inside,
        inside=inside,
        inside_high=inside,
        error_days=error,
    )


def told(quillmere, *scores):
    return forecasts.figures(quillmere.week(scores=scores))


def test_the_share_that_held_is_said_for_all_and_for_each_stage(quillmere):
    """Nine of twelve, three days later than expected in the middle."""
    rows = [score(n, inside=float(n > 3), error=3.0) for n in range(1, 13)]

    lines = forecasts.text(told(quillmere, *rows))

    assert lines == [
        "Of 12 forecasts from the beginning of a stage, with what was known then,",
        "  75 % held: the stage ended between the 10 and the 90 % date (80 % is",
        "  right).",
        "  Exemplum calidum, egg: 12, 75 % held;",
        "    3 d later than expected, in the middle; off by 3.0 d",
    ]


def test_few_forecasts_make_no_share(quillmere):
    """Of three it would say nothing."""
    rows = [score(n, error=-4.0) for n in range(3)]

    lines = forecasts.text(told(quillmere, *rows))

    assert lines[0].startswith("3 forecasts came to an end in the last year: too few")
    assert "%" not in "".join(lines)
    assert lines[-1] == "    4 d sooner than expected, in the middle; off by 4.0 d"


def test_a_forecast_that_was_right_is_said_to_be(quillmere):
    """Within half a day."""
    lines = forecasts.text(told(quillmere, *[score(n, error=0.2) for n in range(10)]))

    assert lines[-1] == "    as expected, in the middle; off by 0.2 d"


def test_without_forecasts_it_says_so(quillmere):
    """No section is empty."""
    assert forecasts.text(told(quillmere)) == [
        "No forecast has come to its end in the last year."
    ]


def test_lines_fit_a_letter(quillmere):
    """However long a name is."""
    rows = [score(n, name="E" * 90) for n in range(12)]

    assert max(map(len, forecasts.text(told(quillmere, *rows)))) <= WIDTH


def test_scores_come_out_of_a_real_store(quillmere, tmp_path):
    """
    Eggs of twelve days before hatched in the week, at 24 C all the time before.

    A kelvin of doubt about the tub puts the middle of what was foreseen off by little.
    """
    begun, found = START - 12 * DAY, START + 2 * DAY
    quillmere.tub(begun).start(begun).advance(found, "L1", not_before=found - DAY)
    times, _ = steady(begun - 30 * DAY, END, 24.0, DAY / 24)
    with Writer.open(tmp_path, now=begun) as writer, writer.transaction():
        writer.add_entries(quillmere.entries)
        writer.add_readings(
            [Reading("a-air", AIR, from_us(us), 24.0) for us in times.tolist()], now=END
        )

    reader, configuration = Reader.open(tmp_path), quillmere.configuration
    with view_of(reader, configuration, WEEK, now=END) as view:
        made = forecasts.figures(view)

    everything, egg = made.scores
    assert (everything.n, egg.stage, egg.inside) == (1, "egg", 1.0)
    assert np.isclose(egg.error_days, 13.5 - 14.21, atol=0.05)
