"""Single sentences of the contract, each with the scan it talks about."""

from __future__ import annotations

import pytest

from sequencer.errors import SequencerError
from sequencer.table import compile_table
from sequencer.table.table import MAX_SCANS
from tests.table.small import TWO, Box, box, pad

# ---- delays: IEC 61131-3 timers; values of the worked unit test in the project's facts, after the standard ----


def test_an_on_delay_is_the_ton_of_iec_61131_3() -> None:
    """PT 50 ms, scan 10 ms, input true first at the scan of t = 10 ms: output true first at t = 60 ms."""
    b = box({"x": "k is pressed for 50 ms"})
    b.go(1)
    times = [10 * (i + 1) for i, on in enumerate(b.go(12, k=1)) if on]
    assert times[0] == 60


def test_an_off_delay_is_the_tof_of_iec_61131_3() -> None:
    """PT 50 ms, fall seen at t = 100 ms: output false first at t = 150 ms."""
    b = box({"x": "k is pressed lingers 50 ms"})
    assert all(b.go(10, k=1))
    times = [100 + 10 * i for i, on in enumerate(b.go(10, k=0)) if not on]
    assert times[0] == 150


def test_a_glitch_shorter_than_the_on_delay_leaves_the_output_false() -> None:
    b = box({"x": "k is pressed for 50 ms"})
    assert not any(b.go(5, k=1) + b.go(1, k=0) + b.go(5, k=1) + b.go(3, k=0))


def test_a_return_during_the_off_delay_starts_it_anew() -> None:
    b = box({"x": "k is pressed lingers 50 ms"})
    assert all(b.go(3, k=1) + b.go(5, k=0) + b.go(1, k=1) + b.go(5, k=0))


# ---- presses: the kind of case C10 --------------------------------------------------------------------------


def presses(b: Box, *levels: int) -> list[int]:
    """Scans in which the press was true, for these raw levels."""
    return [i for i, level in enumerate(levels) if b.go(1, k=level)[0]]


def test_a_press_is_true_for_one_scan_only() -> None:
    assert presses(box({"x": "k becomes pressed"}), 0, 0, 1, 1, 1, 0, 0, 1, 1) == [2, 7]


def test_a_button_down_since_power_up_is_no_press_until_it_was_let_go() -> None:
    assert presses(box({"x": "k becomes pressed"}), 1, 1, 1, 1) == []
    assert presses(box({"x": "k becomes pressed"}), 1, 1, 0, 0, 1, 1) == [4]


def test_a_release_that_stands_for_its_filter_time_only_is_not_yet_seen() -> None:
    """It must be seen in a scan in which the filter does not change: one scan of contact bounce is no release."""
    assert presses(box({"x": "k becomes pressed"}), 1, 1, 0, 1, 1) == []
    assert presses(box({"x": "k becomes pressed"}), 1, 1, 0, 0, 1) == [4]


def test_what_a_button_did_before_the_filters_had_settled_is_not_seen() -> None:
    """Let go at power-up, down while the filters settle: it must be seen let go afterwards, and for a scan more than its filter takes."""
    b = box({"x": "k becomes pressed"}, steady="20 ms")
    assert presses(b, 0, 1, 1, 1, 1, 0, 0, 0, 1, 1, 1, 1) == []
    assert presses(b, 0, 1, 1, 1, 1, 0, 0, 0, 0, 1, 1, 1) == [11]


def test_a_bounce_shorter_than_the_filter_is_no_press() -> None:
    b = box({"x": "k becomes pressed"}, steady="20 ms")
    assert presses(b, 0, 0, 0, 0, 1, 0, 1, 0, 1, 1, 0, 0, 0) == []
    assert presses(b, 1, 1, 1, 1) == [2]


def test_a_press_begun_before_a_state_was_entered_does_not_count_in_it() -> None:
    """The trial's own mistake: the filter's delay carried a press over the move."""
    b = box({"x": "k becomes pressed", "early": "state is a for 40 ms"}, "{go_to: b, once: early}", steady="20 ms",
            states=TWO.replace("b: {says: B., outputs: {o: on}, stays: it just does}",
                               "b: {says: B., outputs: {o: on}, leave: [{go_to: a, once: x}], stays: it waits for a press}"))  # fmt: skip
    b.go(4)
    held = []
    for _ in range(12):  # pressed one scan before the move into b, and held
        b.go(1, k=1)
        held.append(b.state)
    assert "b" in held and held[-1] == "b"
    b.go(5, k=0)
    b.go(5, k=1)
    assert b.state == "a"


# ---- readings -----------------------------------------------------------------------------------------------


def test_an_invalid_reading_is_false_at_once_also_through_an_off_delay() -> None:
    b = box({"x": "p at least 0.4 bar lingers 1 s"})
    assert b.go(1, p=60) == [True]
    assert b.go(1, p=30) == [True]  # the off-delay carries a fall
    assert b.go(1, p=131) == [False]  # and does not carry a broken sensor
    assert b.go(1, p=5) == [False]


@pytest.mark.parametrize("sentence", ["p at least 0.4 bar", "p below 0.4 bar", "p at least 0.4 bar until below 0.2 bar"])
@pytest.mark.parametrize("counts", [0, 5, 131, 255])
def test_every_comparison_is_false_outside_the_valid_band(sentence: str, counts: int) -> None:
    b = box({"x": sentence})
    b.go(3, p=80), b.go(3, p=20)
    assert b.go(3, p=counts) == [False] * 3


def test_negating_a_comparison_is_refused_with_advice() -> None:
    with pytest.raises(SequencerError, match="negated"):
        pad({"x": "not p at least 0.4 bar"})


def test_a_drop_out_keeps_the_bit_until_the_reading_is_below_it() -> None:
    b = box({"x": "p at least 0.5 bar until below 0.3 bar"})
    assert [b.go(1, p=c)[0] for c in (59, 60, 41, 40, 39, 41, 59, 60)] == [False, True, True, True, False, False, False, True]


def test_rise_is_measured_from_the_scan_in_which_the_named_bit_rose() -> None:
    b = box({"y": "k is pressed", "x": "p rises less than 0.1 bar in 30 ms after y starts"})

    def x() -> bool:
        return bool(b.memory.bits >> 1 & 1)

    b.go(2, p=40)
    b.go(1, k=1, p=50)
    assert [(b.go(1, k=1, p=p), x())[1] for p in (55, 58, 59, 60, 59)] == [False, False, True, False, True]
    b.go(1, k=0, p=59)
    assert not x()


def test_a_change_begun_on_an_invalid_reading_stays_false_until_the_next_rise() -> None:
    b = box({"y": "k is pressed", "x": "p rises less than 0.1 bar in 10 ms after y starts"})
    b.go(1, k=1, p=0)
    b.go(9, k=1, p=60)
    assert not b.memory.bits >> 1 & 1
    b.go(1, k=0)
    b.go(3, k=1)
    assert b.memory.bits >> 1 & 1


def test_a_target_is_false_in_a_state_that_gives_none_and_its_drop_out_is_forgotten_at_a_move() -> None:
    states = (
        "states:\n  a: {says: A., targets: {p: 0.5 bar}, leave: [{go_to: b, once: x, not_before: 50 ms}], stays: waits}\n"
        "  b: {says: B., targets: {p: 0.6 bar}, leave: [{go_to: c, at_latest: 30 ms}]}\n  c: {says: C., stays: it does}\n"
    )
    b = box({"x": "p reaches target until below by 0.2 bar"}, states=states)
    assert b.go(1, p=60) == [True] and b.go(1, p=45) == [True]
    b.go(4, p=55)
    assert b.state == "b"
    assert b.go(1, p=55) == [False]  # 0.45 bar: within 0.2 bar of 0.6, but it was never there
    b.go(4, p=110)
    assert b.state == "c" and b.go(1, p=110) == [False]


# ---- memories -----------------------------------------------------------------------------------------------


def test_clearing_wins_over_setting() -> None:
    b = box({"y": "k is pressed", "m": "remembers y until y"})
    b.go(3, k=1)
    assert not b.memory.bits >> 1 & 1


def test_a_memory_expires_after_its_time_and_setting_restarts_it() -> None:
    b = box({"y": "k becomes pressed", "m": "remembers y for at most 30 ms"})
    held = []
    for k in (0, 1, 1, 1, 1, 0, 0, 1, 0, 0, 0):
        b.go(1, k=k)
        held.append(b.memory.bits >> 1 & 1)
    assert held == [0, 1, 1, 1, 0, 0, 0, 1, 1, 1, 0]
    b = box({"y": "k is pressed", "m": "remembers y for at most 30 ms"})
    b.go(3, k=1)
    assert [(b.go(1), b.memory.bits >> 1 & 1)[1] for _ in range(4)] == [1, 1, 0, 0]


# ---- rows, timers, inhibits ---------------------------------------------------------------------------------


def test_a_trip_goes_before_every_exit_wherever_it_is_written() -> None:
    tail = "trips:\n  t: {once: x, go_to: a}\n"
    b = box({"x": "k is pressed"}, "{go_to: b, once: x}", tail=tail)
    b.go(2, k=1)
    assert b.move is not None and b.table.rows[b.move.row].origin == "trip t" and b.state == "a"


def test_a_trip_covers_every_state_that_is_not_named_also_one_written_last() -> None:
    """The kind of case C06."""
    states = "".join(f"  s{i}: {{says: S., stays: it does}}\n" for i in range(5))
    made = compile_table(pad({"x": "k is pressed"}, states="states:\n" + states, tail="trips:\n  t: {everywhere_but: [s1], once: x, go_to: s1}\n"))
    covered = {made.states[row.state].name for row in made.rows if row.origin == "trip t"}
    assert covered == {"s0", "s2", "s3", "s4"}


def test_the_first_row_that_holds_is_taken() -> None:
    states = TWO + "  c: {says: C., stays: it does}\n"
    b = box({"x": "k is pressed"}, "{go_to: c, once: x}, {go_to: b, once: x}", states=states)
    b.go(1, k=1)
    assert b.state == "c"


def test_a_least_time_is_compared_before_the_timer_grows() -> None:
    """50 ms at 10 ms a scan: the row fires 5 scans after the first scan in the state."""
    b = box({"x": "k is pressed"}, "{go_to: b, at_latest: 50 ms}")
    states = []
    for _ in range(7):
        b.go(1)
        states.append(b.state)
    assert states == ["a"] * 5 + ["b"] * 2


def test_of_two_timed_exits_the_shorter_wins_on_a_coarse_scan_too() -> None:
    """The kind of case C08: 41 ms and 50 ms are the same scan of 10 ms; then the one written first wins."""
    states = TWO + "  c: {says: C., stays: it does}\n"
    for leave, wanted in (
        ("{go_to: c, at_latest: 80 ms}, {go_to: b, at_latest: 50 ms}", "b"),
        ("{go_to: c, at_latest: 41 ms}, {go_to: b, at_latest: 50 ms}", "c"),
    ):
        b = box({"x": "k is pressed"}, leave, states=states)
        b.go(12)
        assert b.state == wanted


def test_a_move_to_the_same_state_restarts_its_timer() -> None:
    b = box({"x": "k becomes pressed"}, "{go_to: a, once: x}, {go_to: b, at_latest: 50 ms}")
    b.go(4), b.go(1, k=1)
    assert b.memory.timer == 0 and b.state == "a"
    b.go(5)
    assert b.state == "a"
    b.go(1)
    assert b.state == "b"


def test_the_timer_saturates_and_never_wraps() -> None:
    b = box({"x": "k is pressed"}, "{go_to: b, once: x, not_before: 50 ms}")
    b.memory = b.memory._replace(timer=MAX_SCANS + 1, settled=True)
    b.go(3)
    assert b.memory.timer == MAX_SCANS + 1
    b.go(1, k=1)
    assert b.state == "b"


def test_the_scan_number_at_a_wrap_of_32_bits_changes_no_timer() -> None:
    """The kind of case C14: elapsed scans are counted, no deadline is compared."""
    for start in (2**32 - 3, 2**31 - 1):
        b = box({"x": "k is pressed"}, "{go_to: b, at_latest: 100 ms}")
        b.go(1)
        b.memory = b.memory._replace(scan=start, timer=0)
        b.go(10)
        assert b.state == "a"
        b.go(1)
        assert b.state == "b"


def test_inhibits_stand_over_the_states_outputs() -> None:
    b = box({"x": "k is pressed"}, "{go_to: b, at_latest: 20 ms}", tail="inhibits:\n  o stays off: {once: x}\n")
    b.go(5)
    assert b.outputs == (1,)
    b.go(1, k=1)
    assert b.outputs == (0,) and b.state == "b"
    b.go(1)
    assert b.outputs == (1,)


# ---- power-up -----------------------------------------------------------------------------------------------


def test_no_row_fires_and_no_time_counts_before_every_filter_has_settled() -> None:
    b = box({"x": "k is pressed"}, "{go_to: b, at_latest: 10 ms}", steady="30 ms")
    for k in (0, 1, 0, 1, 1, 1):
        b.go(1, k=k)
        assert not b.memory.settled and b.memory.timer == 0 and b.state == "a"
    b.go(1, k=1)
    assert b.memory.settled and b.memory.timer == 1 and b.state == "a"
    b.go(1, k=1)
    assert b.state == "b"


def test_a_contact_that_never_settles_keeps_the_box_in_its_first_state() -> None:
    b = box({"x": "k is pressed"}, "{go_to: b, at_latest: 10 ms}", steady="30 ms")
    for i in range(200):
        b.go(1, k=i // 2 % 2)
    assert b.state == "a" and not b.memory.settled
