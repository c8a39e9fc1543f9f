"""The printed checklist: its mark on every page, no action split, black and white, the same bytes each time."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from sequencer.crew.checklist import Checklist, checklist
from sequencer.crew.html import html
from sequencer.crew.markdown import markdown
from sequencer.crew.pdf import Paper, pdf
from sequencer.crew.words import tied
from sequencer.description import load, loads
from sequencer.errors import SequencerError
from sequencer.sizing.build import numbers_sheet

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PAD = load(CONFIGS / "curlew.yaml")
CURLEW = checklist(PAD, numbers_sheet(PAD).lines)


@pytest.fixture
def text_of(outside_tool: Callable[[str], str], tmp_path: Path) -> Callable[[bytes], list[str]]:
    """The words of each page, read back by a program that is not ours."""
    tool = outside_tool("pdftotext")

    def read(data: bytes) -> list[str]:
        (tmp_path / "sheet.pdf").write_bytes(data)
        done = subprocess.run([tool, "-layout", str(tmp_path / "sheet.pdf"), "-"], capture_output=True, check=True)
        return done.stdout.decode().split("\f")[:-1]

    return read


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_page_carries_title_revision_checksum_and_its_number(paper: Paper, text_of: Callable[[bytes], list[str]]) -> None:
    pages = text_of(pdf(CURLEW, paper))
    assert len(pages) > 5
    for number, page in enumerate(pages, 1):
        assert f"revision {CURLEW.revision} · table {CURLEW.checksum}" in page
        assert f"page {number} of {len(pages)}" in page
        assert "checks a model, not the hardware" in page


def test_no_action_is_split_over_a_page(text_of: Callable[[bytes], list[str]]) -> None:
    # long texts force many page ends; every action keeps its first and its last word on one page
    phase = CURLEW.phases[0]
    lines = tuple(
        replace(phase.lines[0], number=n, do=f"first{n}x " + "and on and on " * (n % 9 * 6) + f"last{n}x") for n in range(1, 60)
    )
    pages = text_of(pdf(replace(CURLEW, phases=(replace(phase, lines=lines),)), "a4"))
    for n in range(1, 60):
        first = [i for i, page in enumerate(pages) if f"first{n}x" in page]
        last = [i for i, page in enumerate(pages) if f"last{n}x" in page]
        assert first == last and len(first) == 1


def test_the_pages_are_the_size_asked_for(outside_tool: Callable[[str], str], tmp_path: Path) -> None:
    tool = outside_tool("pdfinfo")
    # ISO 216 A4 210 x 297 mm, ANSI letter 8.5 x 11 in, in points of 1/72 in
    for paper, size in (("a4", "595.276 x 841.89"), ("letter", "612 x 792")):
        (tmp_path / "sheet.pdf").write_bytes(pdf(CURLEW, paper))
        said = subprocess.run([tool, str(tmp_path / "sheet.pdf")], capture_output=True, check=True).stdout.decode()
        assert size in said


def test_the_print_is_black_on_white(outside_tool: Callable[[str], str], tmp_path: Path) -> None:
    outside_tool("pdftoppm")
    from PIL import Image

    (tmp_path / "sheet.pdf").write_bytes(pdf(CURLEW))
    subprocess.run(["pdftoppm", "-r", "20", str(tmp_path / "sheet.pdf"), str(tmp_path / "page")], check=True)
    pictures = sorted(tmp_path.glob("page*.ppm"))
    assert len(pictures) > 10
    for picture in pictures:
        red, green, blue = Image.open(picture).convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()


def test_the_same_checklist_gives_the_same_bytes() -> None:
    assert pdf(CURLEW) == pdf(CURLEW)


def test_markup_in_a_users_text_is_printed_and_not_obeyed(text_of: Callable[[bytes], list[str]]) -> None:
    phase = CURLEW.phases[0]
    odd = replace(phase.lines[0], do="Press <b>stop</b> & wait < 2 s")
    sheet = replace(CURLEW, phases=(replace(phase, lines=(odd,)),))
    assert any("<b>stop</b>" in page for page in text_of(pdf(sheet)))
    assert "&lt;b&gt;stop&lt;/b&gt; &amp; wait" in html(sheet)


def test_a_line_longer_than_a_page_is_refused_with_words() -> None:
    phase = CURLEW.phases[0]
    endless = replace(phase.lines[0], do="on and on " * 3000)
    with pytest.raises(SequencerError, match="longer than a page"):
        pdf(replace(CURLEW, phases=(replace(phase, lines=(endless,)),)))


class _Balance(HTMLParser):
    """Follows open elements; a void element needs no end."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in {"meta", "br"}:
            self.open.append(tag)
        self.links += [value or "" for name, value in attrs if name in {"src", "href"}]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("name", ["curlew", "club", "bench"])
def test_the_html_is_whole_and_fetches_nothing(name: str) -> None:
    sheet: Checklist = checklist(load(CONFIGS / f"{name}.yaml"))
    page = html(sheet)
    reader = _Balance()
    reader.feed(page)
    assert reader.open == [] and reader.links == []
    assert sheet.checksum in page
    for phase in sheet.phases:
        for line in phase.lines:
            assert f"<td>{line.number}</td>" in page


def test_a_number_is_never_parted_from_its_unit() -> None:
    assert tied("within 60 s at 1.7 bar, 2 men") == "within 60\u00a0s at 1.7\u00a0bar, 2 men"


def test_a_browser_prints_the_mark_on_every_page(outside_tool: Callable[[str], str], tmp_path: Path) -> None:
    browser = next((tool for tool in ("chromium", "google-chrome", "chrome") if shutil.which(tool)), None)
    if browser is None:
        pytest.skip("not for this machine: no browser to print with")
    (tmp_path / "sheet.html").write_text(html(CURLEW), encoding="utf-8")
    subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--print-to-pdf={tmp_path / 'sheet.pdf'}",
         f"file://{tmp_path / 'sheet.html'}"], capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    done = subprocess.run([outside_tool("pdftotext"), "-layout", str(tmp_path / "sheet.pdf"), "-"], capture_output=True, check=True)
    pages = done.stdout.decode().split("\f")[:-1]
    assert len(pages) > 8
    assert all(re.search(rf"table\s+{CURLEW.checksum}", page) for page in pages)


def test_what_zero_means_and_what_breach_is_accepted_stand_on_the_first_page(text_of: Callable[[bytes], list[str]]) -> None:
    text = (CONFIGS / "club.yaml").read_text(encoding="utf-8")
    rule = "  nobody_near_gas:\n"
    waived = loads(text.replace(rule, f"{rule}    waive: The range is empty on that day.\n").replace("pressures: gauge", "pressures: absolute"), "club.yaml")
    sheet = checklist(waived)
    first = [markdown(sheet).partition("page-break")[0], html(sheet).partition("<h2>")[0], " ".join(text_of(pdf(sheet))[0].split())]
    for page in first:
        assert "nobody near gas" in page and "The range is empty on that day." in page
        assert "words are absolute" in page
    plain = markdown(checklist(loads(text, "club.yaml")))
    assert "accepts a breach" not in plain and "Pressures are gauge" in plain
