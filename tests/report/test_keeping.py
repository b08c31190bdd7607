from dataclasses import replace

from report.nights import empty_night, saltmarsh_lane
from report.scanned import at

from dawnproof.model import FixityRow
from dawnproof.report.keeping import file_lines, keeping_lines, scanner_lines, times_lines

NIGHT = saltmarsh_lane()


def test_files_and_what_would_give_them_a_place() -> None:
    lines = file_lines(NIGHT)
    assert lines[0] == (
        "SL0412 left side final.tif: the name does not follow the naming rule; did you mean SL-0412_L.tif?; it lies in "
        "/studio/rework/_unplaced; its work must stay until the file has its name or the work is scanned"
    )
    assert "link.tif stays where it is: a symbolic link; the scan itself must be in the inbox" in lines
    assert lines[-1] == "Left alone by rule: Thumbs.db"
    assert file_lines(empty_night()) == ()


def test_a_bag_that_is_not_as_filed_comes_first() -> None:
    bad = FixityRow(at(3), "SL-0390", False, "data/SL-0390.tif changed")
    lines = keeping_lines(replace(NIGHT, fixity=(*NIGHT.fixity, bad)))
    assert lines[:2] == ("! SL-0390 is not as filed: data/SL-0390.tif changed", "2 archived jobs re-read, as filed")
    assert lines[2] == "/studio/archive: 812 GB free, 61 h at this night's rate"
    assert keeping_lines(empty_night()) == ("No archived job was re-read against its checksums in this time",)


def test_the_scanner_and_the_times() -> None:
    assert scanner_lines(NIGHT)[0] == "bed-a: streak 33 mm from the left (SL-0416 and SL-0417)"
    assert "exchanged for who stands before the bed" in scanner_lines(NIGHT)[1]
    assert "unevenness of the light 4.1 %" in scanner_lines(NIGHT)[2]
    assert times_lines(NIGHT)[0].startswith("From Tue 24 Nov 18:00 to Wed 25 Nov 06:30: 21 scans, ")
