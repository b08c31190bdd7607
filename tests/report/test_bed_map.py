from dataclasses import replace

from report.nights import archived, empty_night
from report.scanned import at, lifted, scan, with_readings

from dawnproof.report.bed_map import last_on_bed

# 560 mm of work and 40 mm of lid make the scan as wide as bed-a: then the place of its stitch is known
NIGHT = replace(
    empty_night(),
    jobs=(
        archived("SL-0401", [scan("SL-0401", "whole", at(17), with_readings(lifted()), size_mm=(560.0, 380.0))], None),
    ),
)


def test_a_fault_lies_where_it_is_on_the_bed() -> None:
    rows = [row.plain for row in last_on_bed(NIGHT, 80, 30)]
    assert rows[0] == "SL-0401 whole  600 x 420 mm on bed-a, 17:00"
    cells = [row.partition("║")[2].rpartition("║")[0] for row in rows[2:-1]]
    columns = len(cells[0])
    marked = [(y, x) for y, row in enumerate(cells) for x, cell in enumerate(row) if cell == "x"]
    assert {x * 600 // columns for _, x in marked} <= set(range(285, 312))
    ys = [y * 420 / len(cells) for y, _ in marked]
    assert 145 < min(ys) < 180  # the lift lies from 165 to 255 mm
    assert 235 < max(ys) < 260


def test_the_stitch_is_drawn_where_its_place_is_known() -> None:
    assert any("┊" in row.plain for row in last_on_bed(NIGHT, 80, 30))
    narrow = replace(NIGHT, jobs=(archived("SL-0401", [scan("SL-0401", "whole", at(17), [])], None),))
    assert not any("┊" in row.plain for row in last_on_bed(narrow, 80, 30))


def test_without_room_or_scan_nothing_is_drawn() -> None:
    assert last_on_bed(NIGHT, 80, 5) == ()
    assert last_on_bed(empty_night(), 80, 30) == ()


def test_it_keeps_within_its_columns_and_rows() -> None:
    for columns, rows in ((90, 30), (40, 30), (90, 10)):
        drawn = last_on_bed(NIGHT, columns, rows)
        assert len(drawn) <= rows
        assert max(row.cell_len for row in drawn[1:]) <= columns
