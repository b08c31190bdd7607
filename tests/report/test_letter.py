"""The morning by mail: the subject says what to do, the letter the same as the page in brief."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from report.nights import HOSTILE, empty_night, good_night, hostile_night, many_jobs, saltmarsh_lane
from report.scanned import at

from dawnproof.model import MailRow, MailState
from dawnproof.report.dashboard import dashboard
from dawnproof.report.headlines import headlines
from dawnproof.report.keeping import mail_lines
from dawnproof.report.letter import alarm_subject, alarm_text, letter_html, morning_subject
from dawnproof.report.morning_text import summary_text
from dawnproof.report.summary import summary_document

WHEN = datetime(2026, 11, 25, 6, 0)
UNSENT = MailRow(1, "x.eml", "Saltmarsh Lane, Wed 25 Nov", at(6), MailState.GIVEN_UP, 6, at(6), "answered 535 no")


def test_the_subject_counts_what_there_is_to_do() -> None:
    subject = morning_subject(saltmarsh_lane())
    assert subject.startswith("Saltmarsh Lane")
    assert "to scan again" in subject
    assert "may go back" in subject


def test_a_good_night_and_an_empty_one_say_so() -> None:
    assert "a good night" in morning_subject(good_night())
    assert morning_subject(empty_night()).endswith("no work came")


def test_the_letter_holds_the_five_lines_and_every_job_with_something_to_do() -> None:
    night = saltmarsh_lane()
    page = letter_html(night, "The page goes with this letter")
    assert all(line.question in page for line in headlines(night))
    assert "The page goes with this letter" in page
    assert all(view.row.job in page for view in night.jobs)


def test_it_reaches_nowhere_and_carries_no_pictures() -> None:
    page = letter_html(saltmarsh_lane(), "x")
    for word in ("http", "src=", "<img", "<script", "data:"):
        assert word not in page


def test_three_hundred_jobs_stay_a_letter() -> None:
    assert len(letter_html(many_jobs(300), "x")) < 250_000


def test_hostile_names_are_harmless() -> None:
    night = hostile_night()
    for text in (letter_html(night, "x"), morning_subject(night), alarm_subject(HOSTILE, [HOSTILE])):
        assert HOSTILE not in text
        assert not {"\x1b", "\u202e", "\u2028"} & set(text)
    assert "\n" not in morning_subject(night) + alarm_subject(HOSTILE, [HOSTILE])
    assert "<script>" not in letter_html(night, "x")
    assert not {"\x1b", "\u202e", "\u2028"} & set(alarm_text(HOSTILE, [HOSTILE], WHEN))


def test_a_letter_that_could_not_be_sent_stands_on_dashboard_text_and_document() -> None:
    night = replace(saltmarsh_lane(), mails=(UNSENT,))
    (line,) = mail_lines(night)
    assert "535" in line
    assert line in " ".join(summary_text(night).split())
    assert summary_document(night)["ran"]["mail_not_sent"] == [line]
    for width, height in ((80, 24), (200, 60)):
        assert "not sent" in dashboard(night, width, height).plain


def test_one_to_be_tried_again_says_when() -> None:
    later = replace(UNSENT, state=MailState.WAITING, next_utc=at(6, 30))
    (line,) = mail_lines(replace(saltmarsh_lane(), mails=(later,)))
    assert line.startswith(("Mail not sent yet, again at 07:30: ", "Mail not sent yet, again at 06:30: "))
