"""The rehearsal on the screen: three plain columns in 80 x 24, one key per act, the truth kept hidden."""

from __future__ import annotations

import asyncio
import io
from pathlib import Path

from sequencer.crew.keys import keys
from sequencer.crew.plain import plain
from sequencer.crew.rehearsal import Rehearsal
from sequencer.crew.screen import Screen
from sequencer.crew.screen_text import believes, comes_next
from sequencer.crew.script import play
from sequencer.description import load
from sequencer.description.box import ContactInput

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
CURLEW = load(CONFIGS / "curlew.yaml")
CLUB = load(CONFIGS / "club.yaml")


def shown(rehearsal: Rehearsal, presses: list[str]) -> tuple[list[str], Screen]:
    """The words on an 80 x 24 screen after these keys."""
    app = Screen(rehearsal)

    async def run() -> list[str]:
        async with app.run_test(size=(80, 24)) as pilot:
            app.paused = True
            await pilot.pause()
            for key in presses:
                await pilot.press(key)
            await pilot.pause(0.3)
            rows: list[list[str]] = [[" "] * 80 for _ in range(24)]
            for strip_y, strip in enumerate(app.screen._compositor.render_strips()):
                text = "".join(segment.text for segment in strip)
                rows[strip_y] = list(text[:80].ljust(80))
            return ["".join(row).rstrip() for row in rows]

    return asyncio.run(run()), app


def test_three_columns_fit_eighty_by_twenty_four() -> None:
    rehearsal = Rehearsal(CURLEW)
    play(rehearsal, "wait for dumping\nwait 2 s")
    rows, _ = shown(rehearsal, [])
    text = "\n".join(rows)
    for words in ("THE BOX BELIEVES", "SAID AND DONE", "COMES NEXT", "DUMPING", "waits for", "enter next line", "call stop"):
        assert words in text, words


def test_every_hand_moved_switch_valve_dial_and_walk_has_a_key_of_its_own() -> None:
    made = keys(CURLEW)
    assert len({key.key for key in made}) == len(made)
    orders = " ".join(key.on for key in made)
    for name, part in CURLEW.inputs.items():
        if isinstance(part, ContactInput) and name not in ("head", "pin_seen", "relay_seen"):
            assert f" {name}" in orders, name
    for words in ("set cylinder: open", "set hand_dump: open", "read dial_upper", "pad_lead: walk in", "set locking_pin: in"):
        assert words in orders


def test_a_key_does_what_its_label_says_and_a_second_time_takes_it_back() -> None:
    rehearsal = Rehearsal(CURLEW)
    hold = next(key for key in keys(CURLEW) if key.label == "hold stop")
    _, app = shown(rehearsal, [hold.key])
    assert app.on == {hold.key}
    assert rehearsal.said[-1].what == "holds stop"
    again = Rehearsal(CURLEW)
    _, app = shown(again, [hold.key, hold.key])
    assert app.on == set()
    assert again.said[-1].what == "lets go of stop"


def test_enter_does_the_next_line() -> None:
    rehearsal = Rehearsal(CURLEW)
    shown(rehearsal, ["enter", "enter"])
    assert rehearsal.progress.next == 3


def test_an_order_in_words_can_be_typed_and_a_wrong_one_is_answered() -> None:
    rehearsal = Rehearsal(CURLEW)
    rows, _ = shown(rehearsal, ["slash", *"filler: say ready", "enter"])
    assert rehearsal.said[-1].what == "ready"
    rows, _ = shown(Rehearsal(CURLEW), ["slash", *"dance", "enter"])
    assert any("'dance' is not understood" in row for row in rows)


def test_a_long_answer_is_shown_whole_and_a_column_that_goes_on_says_so() -> None:
    rehearsal = Rehearsal(CURLEW)
    play(rehearsal, "wait for rest")
    rows, _ = shown(rehearsal, ["slash", "f", "l", "y", "enter"])
    text = " ".join(" ".join(rows).split())
    assert "'fly' is not understood; required: WHO: and one of press, hold" in text and "cut, burst" in text
    assert any("…" in row for row in rows)


def test_the_card_of_a_state_stands_beside_what_comes_next() -> None:
    rehearsal = Rehearsal(CURLEW, drill="servo_stalls")
    play(rehearsal, "next until counting\nwait 6 s\ndirector: press release_button\nwait for hung_up")
    lines = comes_next(rehearsal)
    assert lines[0] == "CARD HANG UP"
    assert believes(rehearsal.belief())[0].startswith("HUNG UP")


def test_the_plain_mode_tells_every_event_as_a_line_and_ends_with_its_input() -> None:
    rehearsal = Rehearsal(CLUB)
    said: list[str] = []
    plain(rehearsal, io.StringIO("next\nstatus\nnonsense\nkeys\nspeed 5\npause\npause\nend\n"), said.append)
    text = "\n".join(said)
    assert "line 1" in text and "'nonsense' is not understood" in text and "speed 5" in text and "press button" in text
