from datetime import timedelta

import msgspec
import pytest

from monitor.notices.channel import FailedForGood, FailedForNow, Sent
from monitor.notices.policy import GIVE_UP_AFTER, after, unreachable
from monitor.site.words import Priority
from tests.support.notices import NOW, row

LATER = FailedForNow("mail server: 451 later")
NEVER = FailedForGood("mail server: 550 no such keeper")


def follow(results, *, channels, priority=Priority.PROMPT):
    """The row after each of some results, tried as soon as it is due."""
    now, here, seen = NOW, row(priority=priority), []
    for result in results:
        update = after(here, result, channels=channels, now=now)
        wait = update.next_try - now if update.next_try else None
        seen.append((update.state, update.channel, wait))
        here = msgspec.structs.replace(
            here,
            state=update.state,
            channel=update.channel,
            attempts=update.attempts,
            next_try=update.next_try,
        )
        now = update.next_try or now
    return seen


def minutes(*count):
    return [timedelta(minutes=c) for c in count]


def test_a_notice_that_was_taken_is_done():
    """Sent: state, instant, one more attempt, no error."""
    update = after(row(attempts=2, last_error="x"), Sent(), channels=1, now=NOW)

    assert (update.state, update.sent_at, update.attempts) == ("sent", NOW, 3)
    assert (update.last_error, update.next_try) == ("", None)


def test_a_passing_failure_waits_longer_each_time_up_to_a_quarter_of_an_hour():
    """30 s, 1, 2, 5, 10, 15, 15 min on the only channel."""
    seen = follow([LATER] * 7, channels=1)

    assert [wait for _, _, wait in seen] == minutes(0.5, 1, 2, 5, 10, 15, 15)
    assert {(state, channel) for state, channel, _ in seen} == {("waiting", 0)}


def test_an_urgent_notice_never_waits_more_than_two_minutes():
    """30 s, 1, 2, 2, 2 min."""
    seen = follow([LATER] * 5, channels=1, priority=Priority.URGENT)

    assert [wait for _, _, wait in seen] == minutes(0.5, 1, 2, 2, 2)


def test_after_three_passing_failures_the_next_channel_is_tried_at_once():
    """Three on each channel, at once to the next, later again from the first."""
    seen = follow([LATER] * 7, channels=2)

    assert [channel for _, channel, _ in seen] == [0, 0, 1, 1, 1, 0, 0]
    assert [wait for _, _, wait in seen] == minutes(0.5, 1, 0, 5, 10, 15, 15)


def test_a_permanent_failure_goes_at_once_to_the_next_channel():
    """No wait, the next channel, the reason kept."""
    assert follow([NEVER], channels=2) == [("waiting", 1, timedelta(0))]
    assert after(row(), NEVER, channels=2, now=NOW).last_error == NEVER.reason


@pytest.mark.parametrize("channels", [1, 2, 3])
def test_refused_by_every_channel_a_notice_has_failed(channels):
    """The next keeper can be told at once."""
    seen = follow([NEVER] * channels, channels=channels)

    assert seen[-1] == ("failed", channels - 1, None)
    assert [state for state, _, _ in seen[:-1]] == ["waiting"] * (channels - 1)


def test_a_refusal_by_the_last_does_not_end_what_the_first_may_still_carry():
    """Mail fails for now, the gateway for good: mail is tried again, later."""
    seen = follow([LATER, LATER, LATER, NEVER, Sent()], channels=2)

    assert seen[3] == ("waiting", 0, timedelta(minutes=5))
    assert seen[4][0] == "sent"


def test_a_notice_is_given_up_at_last():
    """With one channel refusing and one failing for ever, it ends."""
    seen = follow([*([LATER] * 3), NEVER] * 10, channels=2)

    assert "failed" in [state for state, _, _ in seen[:GIVE_UP_AFTER]]


def test_a_refusal_on_the_only_channel_after_passing_failures_is_the_end():
    """One channel that says no for good is no channel."""
    assert follow([LATER, NEVER], channels=1)[-1][0] == "failed"


def test_the_wish_of_the_far_side_is_heard_within_bounds():
    """retry_after lengthens a wait, up to the longest."""
    wish = FailedForNow("busy", timedelta(minutes=4))
    vain = FailedForNow("busy", timedelta(days=4))

    assert follow([wish], channels=1)[0][2] == timedelta(minutes=4)
    assert follow([vain], channels=1)[0][2] == timedelta(minutes=15)


def test_a_channel_that_was_taken_out_of_the_file_does_not_confuse():
    """A row that points beyond the keeper's channels begins again."""
    update = after(row(channel=5, attempts=4), LATER, channels=2, now=NOW)

    assert update.channel in {0, 1}


def test_a_keeper_without_channels_cannot_be_told():
    """Failed at once, with the reason."""
    update = unreachable(row(), "keeper ines has no channel")

    assert (update.state, update.last_error) == ("failed", "keeper ines has no channel")
