from dataclasses import replace
from html.parser import HTMLParser

import pytest
from report.nights import HOSTILE, empty_night, evening, good_night, hostile_night, many_jobs, saltmarsh_lane

from dawnproof.model import Night
from dawnproof.report.page import PROOF_BYTES, morning_page

PAGE = morning_page(saltmarsh_lane(), {})
VOID = {"meta", "img", "br", "link", "input", "hr", "image", "rect", "path", "circle", "polyline", "use"}


class Outline(HTMLParser):
    """Reads a page: open tags, ids, links, headings, pictures without words."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.headings: list[int] = []
        self.tags: list[str] = []
        self.labels: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.tags.append(tag)
        assert not any(name.startswith("on") for name in values)
        self.ids += [values["id"] or ""] if "id" in values else []
        self.labels += (values.get("aria-labelledby") or "").split()
        self.links += [values["href"] or ""] if tag == "a" else []
        self.headings += [int(tag[1])] if tag in {"h1", "h2", "h3"} else []
        assert tag != "img" or "alt" in values
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("night", [saltmarsh_lane(), evening(), good_night(), empty_night(), hostile_night()])
def test_the_page_is_well_formed_and_reaches_nowhere(night: Night) -> None:
    page = morning_page(night, {})
    outline = Outline(page)
    assert outline.open == []
    assert "script" not in outline.tags
    assert set(outline.labels) <= set(outline.ids)
    assert all(link.startswith("#") and link[1:] in outline.ids for link in outline.links)
    assert not any(word in page for word in ("http:", "https:", "@import", "//cdn"))
    assert outline.headings[0] == 1
    assert all(after - before <= 1 for before, after in zip(outline.headings, outline.headings[1:], strict=False))
    assert '<html lang="en">' in page


def test_ids_are_given_once() -> None:
    ids = Outline(PAGE).ids
    assert len(ids) == len(set(ids))


def test_the_order_of_the_page() -> None:
    places = [
        PAGE.index(words)
        for words in (
            "Did it run all night?",
            "Does every expected work have a place?",
            "What must not leave?",
            "before the first scan?",
            "in two places?",
            ">The piles<",
            ">Files set aside, not filed<",
            ">Scan again (3)<",
            ">Mend at the desk (2)<",
            ">Look first (3)<",
            ">Unfinished (1)<",
            ">May go back (4)<",
            "The night along the bed<",
            ">The scanner<",
        )
    ]
    assert places == sorted(places)


def test_each_job_to_redo_says_what_where_and_how() -> None:
    block = PAGE.partition(">Scan again (3)<")[2].partition(">Mend at the desk")[0]
    for words in (
        "6.2 px",
        "worst at 210 mm",
        "Stop: this would be the third take",
        "Takes so far: whole 2",
        "take 1",
        "take 2",
        'class="fault"',
        "Cautions for every rescan",
    ):
        assert words in block


def test_a_good_night_is_one_sentence_first() -> None:
    page = morning_page(good_night(), {})
    assert 'class="good">A good night: watched from 18:00' in page
    assert "Did it run all night?" not in page


def test_pictures_come_in_as_data() -> None:
    pictures = {"SL-0401/proof": b"\xff\xd8\xffproof", "SL-C405/details": b"\xff\xd8\xffdetails"}
    page = morning_page(saltmarsh_lane(), pictures)
    assert 'alt="Proof of SL-0401"' in page
    assert 'alt="Close-ups of SL-C405' in page
    assert page.count("data:image/jpeg") == 2


def test_a_proof_too_large_for_the_page_gives_way_to_the_scans_own_small_picture() -> None:
    page = morning_page(good_night(), {"SL-0401/proof": b"\xff\xd8\xff" + b"x" * PROOF_BYTES})
    assert "data:image/jpeg" not in page
    assert 'alt="Proof of SL-0401"' in page


def test_three_hundred_jobs_stay_a_small_page() -> None:
    night = many_jobs(300)
    pictures = {
        f"{view.row.job}/{kind}": b"\xff\xd8\xff" + b"x" * 900_000
        for view in night.jobs
        for kind in ("proof", "details")
    }
    assert len(morning_page(night, pictures)) < 25_000_000


def test_alarms_come_before_everything() -> None:
    page = morning_page(evening(), {})
    assert page.index('class="alarm"') < page.index("Did it run all night?")


def test_hostile_names_are_shown_harmlessly() -> None:
    page = morning_page(hostile_night(), {})
    assert HOSTILE not in page
    assert not any(c in page for c in "\x1b\u202e\u2028")
    assert "[bold]x[/] &lt;script&gt;alert(1)&lt;/script&gt; \\x1b[2J\\u202egnp" in page


def test_the_map_of_the_bed_carries_its_marks() -> None:
    assert "Map of bed-a, 600 x 450 mm, stitch at 300 mm. 1: streak 33 mm from the left" in PAGE
    assert "Map of bed" not in morning_page(replace(saltmarsh_lane(), marks=()), {})
