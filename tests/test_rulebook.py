"""Rule books: merged key by key, every value with its origin, errors that name book, key and mend."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnproof.errors import RuleBookError, UsageError
from dawnproof.model import Limit
from dawnproof.rulebook import RuleBook, load_book, read_book, shipped_books

STUDIO = """
based_on = "works-on-paper"
[beds.bed-b]
width_mm = 600
length_mm = 450
seam_mm = [200.0, 400.0]
parallax = 0.5
[kinds.canvas]
jobs = "SL-C*"
medium = "canvas"
based_on = "heavy-texture"
relief = true
[limits]
level = "fadgi-3"
[limits.seam]
doubling = { note = 1.0, fault = 3.0 }
"""


@pytest.fixture(scope="module")
def studio() -> RuleBook:
    return read_book(STUDIO, "dawnproof.toml")


@pytest.mark.parametrize("name", shipped_books())
def test_every_shipped_book_is_whole(name: str) -> None:
    book = load_book(name)
    assert book.beds
    assert book.beds[0].width_mm > 0


def test_every_limit_of_a_shipped_book_has_a_source() -> None:
    for name in shipped_books():
        for (check, reading), rules in load_book(name).limits.items():
            if rules.note is not None or rules.fault is not None:
                assert "trial value" in rules.source or "FADGI 2016" in rules.source, (name, check, reading)


def test_later_wins_key_by_key(studio: RuleBook) -> None:
    assert studio.limit("seam", "doubling") == Limit(1.0, 3.0, source="set in dawnproof.toml")
    assert studio.limits["seam", "step"].note == 0.5  # works-on-paper
    assert studio.limits["resolution", "ppi_x"].fault == 400.0  # the level lies between book and studio
    assert studio.limits["seam", "shift"].fault == 1.0  # fine-art


def test_a_level_set_over_a_book_keeps_its_own_source(studio: RuleBook) -> None:
    limit = studio.limits["fringe", "red_green"]
    # FADGI 2016, prints and photographs, 3 star: misregistration < 0.50 px, strictly
    assert (limit.fault, limit.strict) == (0.50, True)
    assert limit.source.startswith("FADGI 2016, prints")


def test_a_kind_applies_over_the_book_by_job_or_medium(studio: RuleBook) -> None:
    assert studio.for_job("SL-0412").kind == ""
    for book in (studio.for_job("SL-C12"), studio.for_job("SL-0412", "oil on canvas")):
        assert book.kind == "canvas"
        assert book.relief
        assert book.limits["seam", "step"].note == 1.5  # heavy-texture


def test_relief_takes_the_paintings_table_of_the_level(studio: RuleBook) -> None:
    sampling = studio.for_kind("canvas").limits["resolution", "sampling"]
    # FADGI 2016, paintings and other two-dimensional art, 3 star: 10 000 px or 600 ppi
    assert (sampling.px, sampling.ppi, sampling.fault, sampling.below) == (10000, 600, 1.0, True)
    assert studio.limits["resolution", "sampling"].px is None


def test_naming_a_bed_replaces_the_shipped_ones(studio: RuleBook) -> None:
    assert [b.name for b in studio.beds] == ["bed-b"]
    assert studio.bed(None).seams_mm == (200.0, 400.0)
    with pytest.raises(UsageError, match="no bed named 'bed-a'"):
        studio.bed("bed-a")


def test_every_value_has_its_origin(studio: RuleBook) -> None:
    origins = {key: origin for key, _, origin in studio.values()}
    assert origins["limits.seam.doubling.fault"] == "dawnproof.toml"
    assert origins["limits.seam.step.note"] == "works-on-paper"
    assert origins["limits.resolution.ppi_x.fault"] == "fadgi-3"
    assert origins["crop.border_mm"] == "fine-art"
    assert all(origins.values())


@pytest.mark.parametrize(
    ("text", "key", "mend"),
    [
        ("[limits.seam]\ndubling = { note = 1.0 }", "limits.seam.dubling", "did you mean 'doubling'"),
        ("[limits.seam]\ndoubling = { nte = 1.0 }", "limits.seam.doubling.nte", "did you mean 'note'"),
        ("[limits.seem]\ndoubling = { note = 1.0 }", "limits.seem", "did you mean 'seam'"),
        ("[bads.a]\nwidth_mm = 1", "bads", "did you mean 'beds'"),
        ("[beds.a]\nwidth_mm = -3\nlength_mm = 4", "beds.a.width_mm", "greater than 0"),
        ("[beds.a]\nwidth_mm = 600\nlength_mm = 4\nseam_mm = 700", "beds.a.seam_mm", "lies outside the bed"),
        ('[intake]\nsettle_s = "x"', "intake.settle_s", "valid number"),
        ('based_on = "fineart"', "based_on", "did you mean 'fine-art'"),
        ('[limits]\nlevel = "fadgi-5"', "limits.level", "fadgi-3"),
        ("[limits.seam]\ndoubling = { note = 3.0 }", "limits.seam.doubling", "must lie below"),
        ("[kinds.a]\nrelief = true", "kinds.a", "fits no job"),
        ("[crop]\nborder = 3", "crop.border", "did you mean 'border_mm'"),
        ("[crop]\nborder_mm = nan", "crop.border_mm", "finite"),
        ("limits = 3", "limits", "dictionary"),
    ],
)
def test_errors_name_book_key_and_mend(text: str, key: str, mend: str) -> None:
    with pytest.raises(RuleBookError) as caught:
        read_book(text, "dawnproof.toml")
    assert caught.value.key == key
    assert "dawnproof.toml" in str(caught.value)
    assert mend in str(caught.value)
    assert caught.value.exit_code == 2


def test_what_is_no_toml_names_the_line() -> None:
    with pytest.raises(RuleBookError, match="line 2"):
        read_book("based_on = 'fine-art'\n[oh\n", "dawnproof.toml")


def test_a_missing_book_says_where_it_was_looked_for(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no rule book at"):
        load_book(tmp_path / "dawnproof.toml")
    with pytest.raises(UsageError, match="did you mean 'fine-art'"):
        load_book("fine-arts")


MAIL = '[mail]\nhost = "smtp.example.org"\nfrom = "prints@example.org"\nto = ["morning@example.org"]\n'


def test_a_mail_server_needs_little() -> None:
    mail = read_book(MAIL, "dawnproof.toml").mail
    assert (mail.host, mail.sender, mail.to) == ("smtp.example.org", "prints@example.org", ["morning@example.org"])
    assert (mail.security, mail.when) == ("starttls", ["morning"])


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('[mail]\nhost = "smtp.example.org"\nto = ["a@example.org"]', "mail.from"),
        ('[mail]\nhost = "smtp.example.org"\nfrom = "a@example.org"', "mail.to"),
        (MAIL.replace("prints@", "prints\\nBcc: x@"), "mail.from"),
        (MAIL.replace("morning@example.org", "a@example.org, b@example.org"), "mail.to"),
        (MAIL.replace("morning@example.org", "nobody"), "mail.to"),
        (MAIL.replace("smtp.example.org", "smtp.example.org:587 x"), "mail.host"),
        (MAIL + 'user = "x"\nsecurity = "none"', "mail.security"),
        (MAIL + 'password = "x"', "mail.password"),
        (MAIL + 'when = ["evening"]', "mail.when"),
        (MAIL + "port = 0", "mail.port"),
    ],
)
def test_a_mail_section_that_cannot_be_used_is_said_at_once(text: str, key: str) -> None:
    with pytest.raises(RuleBookError) as caught:
        read_book(text, "dawnproof.toml")
    assert key in str(caught.value)
    assert "dawnproof.toml" in str(caught.value)


def test_a_password_in_the_book_is_led_to_its_file() -> None:
    with pytest.raises(RuleBookError, match="password_file"):
        read_book(MAIL + 'password = "x"', "dawnproof.toml")
