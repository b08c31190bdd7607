from dataclasses import replace
from html.parser import HTMLParser

from report.nights import HOSTILE, hostile_night, jobs
from report.scanned import at

from dawnproof.advice import CAUTIONS
from dawnproof.report.note import rescan_note_html, rescan_note_text

JOBS = {view.row.job: view for view in jobs()}


def words(text: str) -> str:
    return " ".join(text.split())


def test_a_colleague_can_scan_it_again_from_the_note() -> None:
    text = words(rescan_note_text(JOBS["SL-0406"], at(5), 3600))
    for told in (
        "SL-0406: scan again",
        "Due Fri 27 Nov",
        "watercolour, 300 x 210 mm",
        "Scanned on bed-a: SL-0406_whole.tif",
        "Takes so far: whole 1",
        "largest clipped area 180 mm2",
        "120 to 160 mm from the left",
        "Lower the exposure",
        "Save the new scan of the whole under its old name; it counts as take 2",
        "Written Wed 25 Nov 06:00",
    ):
        assert told in text
    assert all(caution in text for caution in CAUTIONS)


def test_the_lift_along_the_stitch_is_told() -> None:
    text = words(rescan_note_text(JOBS["SL-C405"]))
    assert "worst at 210 mm" in text
    assert "Along the stitch, from the top: 135 mm: 1.3 px (0.2 mm high)" in text
    assert "Stop: this would be the third take" in text


def test_a_note_for_the_desk_asks_for_no_scan() -> None:
    text = words(rescan_note_text(JOBS["SL-0410"]))
    assert text.startswith("SL-0410: mend at the desk, no new scan")
    assert "Save the new scan" not in text
    assert CAUTIONS[1] not in text


def test_a_missing_part_is_asked_for() -> None:
    assert "Scan part R, which never came" in words(rescan_note_text(JOBS["SL-0411"]))


def test_the_page_says_the_same_and_shows_it() -> None:
    page = rescan_note_html(JOBS["SL-C405"], {"details.jpg": b"\xff\xd8\xffdetails", "proof.jpg": b""}, at(5), 3600)
    for told in (
        "SL-C405: scan again",
        "6.2 px",
        "Stop: this would be the third take",
        "data:image/jpeg;base64,",
        "Close-ups",
        'class="fault"',
        "it counts as take 3",
    ):
        assert told in page
    assert page.count("<img") == 1
    assert "http://" not in page
    assert "https://" not in page
    assert "<script" not in page


def test_hostile_names_are_harmless_in_both() -> None:
    view = hostile_night().jobs[4]
    text, page = rescan_note_text(view, at(5)), rescan_note_html(view, {}, at(5))
    assert not any(c in text + page for c in "\x1b\u202e\u2028")
    assert "<script" not in page
    assert "&lt;script&gt;" in page

    class Tags(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            assert tag != "script"
            assert not any(name.startswith("on") for name, _ in attrs)

    Tags().feed(page)
    assert HOSTILE not in page


def test_the_same_view_gives_the_same_note() -> None:
    view = replace(JOBS["SL-C405"])
    assert rescan_note_html(view, {}) == rescan_note_html(view, {})
