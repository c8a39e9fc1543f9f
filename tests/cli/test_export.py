"""`export` and `readback` as a builder uses them."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from sequencer.cli.main import main
from sequencer.description import load
from sequencer.firmware.readback import image_of
from sequencer.table import compile_table
from sequencer.table.image import checksum, encode

ROOT = Path(__file__).resolve().parents[2]
CLUB = ROOT / "configs/club.yaml"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("export")
    assert main(["export", str(CLUB), "--to", "c", "--to", "csv", "--to", "json", "--out", str(out)]) == 0
    return out


def test_the_export_folder_holds_all_a_builder_needs(folder: Path) -> None:
    names = {path.name for path in folder.iterdir()}
    assert names == {
        "follow.h", "follow.c", "follow_table.h", "follow_table.c", "board.h", "main.c", "bench.c", "README.md", "FORMAT.md",
        "description.yaml", "rows.csv", "states.csv", "conditions.csv", "causes_and_effects.csv", "table.json",
    }  # fmt: skip
    told = (folder / "README.md").read_text()
    for word in ("D2 pull-up", "pull-down 4.7 kOhm", "certifies nothing", "Power-on order", "release", f"{checksum(compile_table(load(CLUB))):08X}"):
        assert word in told
    head = (folder / "follow_table.h").read_text()
    assert "Club pad, revision 1" in head and "certifies nothing" in head


def test_two_exports_are_the_same_to_the_byte(folder: Path, tmp_path: Path) -> None:
    assert main(["export", str(CLUB), "--to", "json", "--to", "csv", "--to", "c", "--out", str(tmp_path)]) == 0
    for path in folder.iterdir():
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name


def lines_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text().splitlines()))


def test_the_csv_can_be_followed_line_by_line(folder: Path) -> None:
    table = compile_table(load(CLUB))
    rows = lines_of(folder / "rows.csv")
    assert len(rows) == len(table.rows)
    first = rows[0]
    assert (first["state"], first["next"], first["not before"]) == ("dumping", "rest", "60 s")
    assert first["conditions"] == "not key_in and empty and sensor_ok"
    assert "go_to: rest" in CLUB.read_text().splitlines()[int(first["line"]) - 1]
    armed = next(r for r in lines_of(folder / "states.csv") if r["state"] == "armed")
    assert (armed["dump"], armed["fill"], armed["people"]) == ("shut", "shut", "keep out")
    causes = lines_of(folder / "causes_and_effects.csv")
    stop = next(c for c in causes if c["cause"] == "trip stop: stop_down")
    assert (stop["state"], stop["dump"], stop["fill"]) == ("dumping", "open", "shut") and "filling" in stop["looked at in"]
    assert any(c["cause"].startswith("inhibit") and c["fill"] == "stays shut" for c in causes)


def test_the_json_carries_the_image_itself(folder: Path) -> None:
    told = json.loads((folder / "table.json").read_text())
    assert bytes.fromhex(told["image"]) == encode(compile_table(load(CLUB)))


def test_the_json_object_tells_what_was_written_and_measured(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(CLUB), "--to", "c", "--out", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["command"], told["verdict"]) == ("export", "pass")
    assert told["result"]["states"] == 9 and told["result"]["verified"] is False
    assert len(told["result"]["figures"]) + len(told["result"]["not_run"]) == 2


def test_verify_says_how_many_scans_agreed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from sequencer.firmware import export

    monkeypatch.setattr(export, "HOST_SCANS", 30_000)
    monkeypatch.setattr(export, "CHIP_SCANS", 3_000)
    assert main(["export", str(CLUB), "--to", "c", "--out", str(tmp_path), "--verify"]) == 0
    said = capsys.readouterr().out
    assert "scans agreed, none differed" in said or "NOT COMPARED" in said
    assert max(map(len, said.splitlines())) <= 80


def test_without_any_compiler_verify_fails_and_says_how_to_get_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shutil.which", lambda name, *rest: None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name, *rest: None)
    from sequencer.cli.export import Form, command

    assert command(CLUB, [Form.C], tmp_path, verify=True).code == 1
    assert "pip install ziglang" in " ".join(capsys.readouterr().out.split())


def test_a_file_whose_names_clash_in_c_is_refused_and_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = CLUB.read_text().replace("beacon:   {lamp: [dark, lit]", "beacon:   {lamp: [lit up, lit_up]").replace("beacon: lit", "beacon: lit_up")
    file = tmp_path / "clash.yaml"
    file.write_text(text.replace("rest: dark", "rest: lit up"))
    assert main(["export", str(file), "--to", "c", "--out", str(tmp_path / "out")]) == 2
    assert not (tmp_path / "out").exists()
    assert "Traceback" not in capsys.readouterr().err


def test_a_time_too_long_for_its_field_is_refused_with_the_number(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "long.yaml"
    file.write_text(CLUB.read_text().replace("at_latest: 180 s", "at_latest: 60 days"))
    assert main(["export", str(file), "--to", "c", "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err
    assert "259200000" in said and "long.yaml" in said and "holding" in said


def test_readback_of_an_export_says_equal(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["readback", str(folder)]) == 0
    assert "equal" in capsys.readouterr().out
    assert main(["readback", str(folder / "table.json"), str(CLUB), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "pass"


def test_readback_tells_the_first_difference_and_a_run_that_shows_it(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "other.yaml"
    file.write_text(CLUB.read_text().replace("once: stop_down or not key_in", "once: stop_down").replace("revision: 1", "revision: 2"))
    assert main(["readback", str(folder), str(file)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "rows in the file" in said and "DIFFERS" in said
    assert "first seen in scan" in said and "the table says revision 1, the file 2" in said


def test_a_dump_with_the_table_somewhere_inside_is_read(folder: Path, tmp_path: Path) -> None:
    image = encode(compile_table(load(CLUB)))
    dump = tmp_path / "flash.bin"
    dump.write_bytes(b"\xff" * 777 + b"FLOWer" + image + b"\xff" * 99)
    assert image_of(dump)[0] == image
    lines = []
    for at in range(0, len(image), 16):
        part = image[at : at + 16]
        body = bytes([len(part), (0x400 + at) >> 8, (0x400 + at) & 255, 0]) + part
        lines.append(":" + (body + bytes([-sum(body) & 255])).hex().upper())
    hexed = tmp_path / "flash.hex"
    hexed.write_text("\n".join([*lines, ":00000001FF", ""]))
    assert image_of(hexed)[0] == image
    hexed.write_text("\n".join([lines[0].replace("464C", "464D"), *lines[1:]]))
    assert main(["readback", str(hexed), str(CLUB)]) == 2


@pytest.mark.parametrize("content", [b"", b"not a table", b"FLOW", b":00", b"FLOW\x02" + bytes(60)])
def test_what_is_no_table_is_unusable_with_its_place(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "dump"
    file.write_bytes(content)
    assert main(["readback", str(file), str(CLUB)]) == 2
    said = capsys.readouterr().err
    assert said.startswith(str(file)) and "Traceback" not in said


def test_a_folder_without_a_table_is_unusable(tmp_path: Path) -> None:
    assert main(["readback", str(tmp_path)]) == 2
    assert main(["readback", str(tmp_path / "nowhere"), str(CLUB)]) == 2
