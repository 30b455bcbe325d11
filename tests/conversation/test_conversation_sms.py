"""SMS arithmetic against 3GPP TS 23.038 and 23.040 (from memory), and an independent library (smsutil 1.1.3)."""

from __future__ import annotations

import pytest
import smsutil
from hypothesis import given
from hypothesis import strategies as st

from intakebot.conversation import Reply, ReplyChoice, plain_text, sms_parts, sms_text
from intakebot.conversation.rendering import GSM_BASIC, GSM_EXTENSION, gsm_text

VECTORS = [
    pytest.param("", 0, id="nothing"),
    pytest.param("a" * 160, 1, id="160-septets-alone"),
    pytest.param("a" * 161, 2, id="161-need-a-header"),
    pytest.param("a" * 306, 2, id="two-full-parts"),
    pytest.param("a" * 307, 3, id="one-more"),
    pytest.param("я" * 70, 1, id="70-code-units-alone"),
    pytest.param("я" * 71, 2, id="71-code-units"),
    pytest.param("я" * 134, 2, id="two-full-ucs2-parts"),
    pytest.param("я" * 135, 3, id="one-more-code-unit"),
    pytest.param("€" * 80, 1, id="euro-takes-two-septets"),
    pytest.param("€" * 81, 2, id="81-euros"),
    pytest.param("a" * 159 + "€", 2, id="159-and-a-euro"),
    pytest.param("a" * 152 + "€" + "a" * 152, 3, id="an-escape-pair-is-not-split"),
    pytest.param("😀" * 66, 2, id="66-emoji"),
    pytest.param("😀" * 67, 3, id="a-surrogate-pair-is-not-split"),
]


@pytest.mark.parametrize(("text", "parts"), VECTORS)
def test_parts_follow_the_standard(text, parts):
    assert sms_parts(text) == parts


@pytest.mark.parametrize(("text", "parts"), VECTORS[1:])
def test_parts_agree_with_an_independent_library(text, parts):
    assert len(smsutil.split(text).parts) == parts


@given(st.text(alphabet=GSM_BASIC + GSM_EXTENSION + "яç😀", min_size=1, max_size=400))
def test_any_text_is_counted_like_the_library(text):
    assert sms_parts(text) == len(smsutil.split(text).parts)


def test_typographic_characters_are_replaced_so_that_a_text_stays_one_part():
    assert gsm_text("It’s “fine” – really…") == 'It\'s "fine" - really...'


@pytest.mark.parametrize(
    ("before", "after"),
    [("ç", "c"), ("ê", "e"), ("é", "é"), ("Ç", "Ç"), ("ö", "ö"), ("я", "?"), ("\u200b", "")],
)
def test_letters_outside_the_alphabet_become_their_nearest(before, after):
    assert gsm_text(before) == after


@given(st.text(max_size=200))
def test_a_rendered_text_never_leaves_the_gsm_alphabet(text):
    rendered = sms_text(Reply(text, (ReplyChoice(text or "x", "v"),)))

    assert set(rendered) <= set(GSM_BASIC + GSM_EXTENSION)


def test_every_reply_reads_as_plain_text_with_numbered_choices():
    reply = Reply("Does it spin?", (ReplyChoice("Yes", "q:yes"), ReplyChoice("No", "q:no")), "question")

    assert plain_text(reply) == "Does it spin?\n1  Yes\n2  No"
    assert sms_text(reply) == "Does it spin?\n1 Yes 2 No"
