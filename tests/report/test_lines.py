from dawnproof.report.lines import Lines, sentence


def test_lines_keep_their_width_and_hang() -> None:
    page = Lines(20)
    page.say("one two three four five", "- ")
    page.say("", "! ")
    page.gap()
    page.gap()
    page.rule("HEAD")
    page.say("a-very-long-name-that-cannot-be-broken.tif x")
    lines = page.text.splitlines()
    assert lines[:2] == ["- one two three four", "  five"]
    assert lines[2:4] == ["", f"HEAD {'-' * 15}"]
    assert lines[4] == "a-very-long-name-that-cannot-be-broken.tif"


def test_sentences_end() -> None:
    assert [sentence(t) for t in ("a", "a.", "", "a?")] == ["a.", "a.", "", "a?"]
