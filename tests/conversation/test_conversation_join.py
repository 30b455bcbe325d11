"""Going on by another channel needs a one-time code (OWASP ASVS 5.0: 6.5.1, 6.5.4, 6.5.5, 6.6.3)."""

from __future__ import annotations

from datetime import timedelta

import pytest

from intakebot.conversation import issue_join_code, redeem_join_code
from intakebot.errors import BadInputError
from tests.conversation.doubles import NOW, Talk

CODE = "4827193"


@pytest.fixture
def waiting(definitions):
    return issue_join_code(Talk(definitions).conversation, CODE, NOW)


def test_the_right_code_moves_the_talk_to_the_other_channel_and_is_used_up(waiting):
    joined = redeem_join_code(waiting, "482 71-93", NOW + timedelta(minutes=9), "sms")
    again = redeem_join_code(joined.conversation, CODE, NOW + timedelta(minutes=9), "sms")

    assert (joined.ok, joined.conversation.channel) == (True, "sms")
    assert (again.ok, again.reason) == (False, "no_code")


def test_a_code_ends_after_ten_minutes(waiting):
    late = redeem_join_code(waiting, CODE, NOW + timedelta(minutes=10), "sms")

    assert (late.ok, late.reason, late.conversation.join_code) == (False, "expired", None)


def test_the_fifth_wrong_try_ends_the_code(waiting):
    conversation, reasons = waiting, []
    for _ in range(5):
        result = redeem_join_code(conversation, "0000000", NOW, "sms")
        conversation, reasons = result.conversation, [*reasons, result.reason]

    assert reasons == ["wrong"] * 4 + ["too_many_tries"]
    assert not redeem_join_code(conversation, CODE, NOW, "sms").ok


def test_a_code_of_six_digits_is_refused():
    # log2(10^6) = 19.93 bits, under the 20 that the standard asks for; 10^7 holds 23.25.
    with pytest.raises(BadInputError):
        issue_join_code(object(), "482719", NOW)  # type: ignore[arg-type]


def test_a_new_code_replaces_the_old_one(waiting):
    renewed = issue_join_code(waiting, "7777777", NOW)

    assert not redeem_join_code(renewed, CODE, NOW, "sms").ok
    assert redeem_join_code(renewed, "7777777", NOW, "sms").ok


def test_the_code_itself_is_not_kept(waiting):
    assert CODE not in str(waiting.to_mapping())
