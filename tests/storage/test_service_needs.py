"""What a studio needs to be left running, in words and in lines that can be pasted."""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from dawnproof.storage import service_needs as needed
from dawnproof.storage.service_needs import ServiceNeeds, escaped, in_words, service_lines, service_needs
from dawnproof.storage.studio import Studio, make_folders, new_studio, open_studio

REPOSITORY = Path(__file__).resolve().parents[2]
AS_SHIPPED = ServiceNeeds("dawnproof@srv-prints.service", "scan", needed.UNIT_PROGRAM, (), (), "")


def studio_with(root: Path, more: str) -> Studio:
    new_studio(root, "fine-art")
    (root / "dawnproof.toml").write_text('based_on = "fine-art"\n' + more, "utf-8")
    studio = open_studio(root)
    make_folders(studio)
    return studio


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/srv/prints", "srv-prints"),
        ("/srv/my prints/lane-2", r"srv-my\x20prints-lane\x2d2"),
        ("/srv//prints/", "srv-prints"),
        ("/.hidden/.two", r"\x2ehidden-.two"),
        ("/", "-"),
        ("/srv/à", r"srv-\xc3\xa0"),
        ("/srv/50%", r"srv-50\x25"),
    ],
)
def test_names_are_those_of_systemd_itself(path: str, name: str) -> None:
    assert escaped(Path(path)) == name
    if shutil.which("systemd-escape"):
        said = subprocess.run(["systemd-escape", "--path", path], capture_output=True, text=True, check=True).stdout
        assert said.strip() == name


def test_a_studio_as_the_unit_expects_it_needs_no_change() -> None:
    words = "\n".join(in_words(AS_SHIPPED))
    assert "nothing to be changed" in words
    assert "systemctl edit" not in words
    assert "enable --now 'dawnproof@srv-prints.service'" in words
    assert "loginctl enable-linger scan" in words


def test_everything_else_is_a_line_to_paste() -> None:
    words = in_words(replace(AS_SHIPPED, account="noor", program=Path("/home/noor/dawn proof/.venv/bin/dawnproof"),
                             at_home=(Path("/home/noor/dawn proof/.venv"),), outside=(Path("/mnt/50%"),),
                             network="mail"))  # fmt: skip
    pasted = [line.strip() for line in words if line.startswith(" " * 9)]
    assert pasted == [
        "[Unit]",
        "RequiresMountsFor=/mnt/50%%",
        "[Service]",
        "User=noor",
        "ExecStart=",
        'ExecStart="/home/noor/dawn proof/.venv/bin/dawnproof" watch --plain %f',
        'BindReadOnlyPaths="/home/noor/dawn proof/.venv"',
        "BindPaths=/mnt/50%%",
        "PrivateNetwork=no",
        "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6",
        "IPAddressDeny=",
    ]


def test_helpers_need_the_machines_memory_to_be_read() -> None:
    """Seen: the cluster's library reads /proc/meminfo when it is loaded, which ProcSubset=pid hides."""
    alone, helped = (in_words(replace(AS_SHIPPED, network=why)) for why in ("mail", "mail and helpers"))
    assert not any("ProcSubset=all" in line for line in alone)
    assert any(line.strip() == "ProcSubset=all" for line in helped)


def test_systemd_understands_what_is_to_be_pasted(tmp_path: Path) -> None:
    """The unit with its drop-in: nothing to complain of."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed: the lines cannot be looked at")
    program = Path(shutil.which("true") or "/bin/true")
    needs = replace(AS_SHIPPED, account="root", program=program, outside=(tmp_path / "far away",), network="mail")
    unit = tmp_path / "dawnproof@.service"
    unit.write_text((REPOSITORY / "systemd/dawnproof@.service").read_text("utf-8"))
    (tmp_path / "dawnproof@.service.d").mkdir()
    pasted = [line.strip() for line in in_words(needs) if line.startswith(" " * 9)]
    (tmp_path / "dawnproof@.service.d/here.conf").write_text("\n".join(pasted) + "\n")
    environment = os.environ | {"SYSTEMD_UNIT_PATH": f"{tmp_path}:"}
    done = subprocess.run(["systemd-analyze", "verify", "--man=no", str(unit)], capture_output=True, text=True,
                          check=False, env=environment)  # fmt: skip
    assert done.stdout + done.stderr == ""


def test_a_studios_needs_are_read_from_its_book_and_folders(tmp_path: Path) -> None:
    far = tmp_path / "far"
    far.mkdir()
    (far / "archive").mkdir()
    more = f'[folders]\narchive = "{far}/archive"\n[archive]\nsecond = "{far}"\n[mail]\nhost = "mail.example.org"\n'
    studio = studio_with(tmp_path / "prints", more + 'from = "a@example.org"\nto = ["b@example.org"]\n')
    found = service_needs(studio)
    assert found.unit == f"dawnproof@{escaped(tmp_path / 'prints')}.service"
    assert found.outside == (far,), "the folder above the other is enough"
    assert found.network == "mail"
    assert (tmp_path / "prints" / "inbox").owner() == found.account


def test_the_account_is_that_of_the_newest_scan(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        pytest.skip("only root can give files away")
    studio = studio_with(tmp_path / "prints", "")
    scan = studio.inbox / "SL-0412_L.tif"
    scan.touch()
    os.chown(scan, 65534, 65534)
    found = service_needs(studio)
    assert found.account == scan.owner() != studio.inbox.owner()
    (line,) = [line for line in service_lines(studio, found) if line.about == "account"]
    assert not line.ok
    assert str(studio.archive) in line.text
    for path in (studio.root, *studio.root.rglob("*")):
        os.chown(path, 65534, 65534)
    assert all(line.ok for line in service_lines(studio, found))


def test_a_second_copy_on_the_same_disk_is_none(tmp_path: Path) -> None:
    (tmp_path / "second").mkdir()
    studio = studio_with(tmp_path / "prints", f'[archive]\nsecond = "{tmp_path}/second"\n')
    (line,) = [line for line in service_lines(studio, service_needs(studio)) if line.about == "second copy"]
    assert not line.ok
    assert "same disk" in line.text


def test_words_and_readme_agree() -> None:
    readme = " ".join((REPOSITORY / "README.md").read_text("utf-8").split())
    for words in ("sudo cp systemd/dawnproof@.service /etc/systemd/system/", "systemctl edit", "enable --now",
                  "RequiresMountsFor=", "BindPaths=", "loginctl enable-linger", "systemctl --user"):  # fmt: skip
        assert words in readme
        assert words in " ".join(in_words(replace(AS_SHIPPED, outside=(Path("/mnt"),))))
