"""Several studios in one summary: nothing of one is lost, nobody's work is taken for another's."""

from __future__ import annotations

from report.nights import empty_night, good_night, hostile_night, saltmarsh_lane

from dawnproof.model import Pile
from dawnproof.report.account import in_pile
from dawnproof.report.house import StudioNight, house_document, house_page, house_text
from dawnproof.report.summary import summary_document

HOUSE = (
    StudioNight("prints", "/srv/prints", "2026-11-25.html", saltmarsh_lane()),
    StudioNight("annex", "/srv/annex", "../../annex/morning/2026-11-25.html", good_night()),
    StudioNight("<b>barn", "/srv/barn", "../../barn/morning/2026-11-25.html", hostile_night()),
    StudioNight("loft", "/srv/loft", "../../loft/morning/2026-11-25.html", empty_night()),
)


def test_each_studio_keeps_the_document_it_has_alone() -> None:
    document = house_document(HOUSE)
    assert list(document) == ["studios"]
    for one, found in zip(HOUSE, document["studios"], strict=True):
        assert (found["studio"], found["folder"]) == (one.name, one.folder)
        assert {k: v for k, v in found.items() if k not in {"studio", "folder"}} == summary_document(one.night)


def test_counts_of_the_piles_are_those_of_all_studios() -> None:
    text = house_text(HOUSE)
    for pile, words in ((Pile.MAY_GO_BACK, "May go back"), (Pile.SCAN_AGAIN, "Scan again")):
        count = sum(len(in_pile(one.night, pile)) for one in HOUSE)
        assert count > 0
        assert f"{words:<17}{count:>3}  " in text.split("====")[0]


def test_every_job_stands_under_its_studio() -> None:
    head = house_text(HOUSE[:2]).split("====")[0]
    for pile in (Pile.SCAN_AGAIN, Pile.DESK, Pile.LOOK_FIRST):
        for view in in_pile(HOUSE[0].night, pile):
            assert view.row.job in head
    assert "prints: " in head
    assert head.startswith("2 studios, morning of ")


def test_the_page_leads_to_each_and_lets_nothing_through() -> None:
    page = house_page(HOUSE)
    for one in HOUSE:
        assert f'href="{one.page}"' in page
    assert "<b>barn" not in page
    assert "&lt;b&gt;barn" in page
    assert "<script>" not in page
    assert "http://" not in page.replace("http://www.w3.org", "")
