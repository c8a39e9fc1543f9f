"""What guides a campaign: acts that make a row of the table fire, and what lies open beside the paths gone so far."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from functools import cache

from sequencer.description import load
from sequencer.description.terms import SwitchIs
from sequencer.simulation.events import (
    At,
    HandValve,
    InState,
    Latch,
    Pin,
    PowerOff,
    Press,
    Strike,
    Switch,
    Walk,
)
from sequencer.trials.aims import Aims
from sequencer.trials.blind import blind
from sequencer.trials.campaign import Bench, Found, _Work
from sequencer.trials.draws import MOST_ACTS
from sequencer.trials.drillfile import keep
from sequencer.trials.frontier import Frontier, Parent
from sequencer.trials.nominal import in_states, of_drills, recorded, seeds_of
from sequencer.trials.plan import Plan, event
from sequencer.trials.probe import Breach, Trial
from sequencer.trials.recipes import Recipe, Recipes
from sequencer.trials.shrink import shrink
from sequencer.trials.story import failure
from sequencer.trials.vary import Changer, Made
from tests.trials.the_club import bench, club


@cache
def day() -> Trial:
    plan = recorded(club())
    assert plan is not None
    return bench().try_(plan, enough=_never)


def _never(_: Breach) -> bool:
    return False


def rows_of(state: str, origin: str) -> list[int]:
    table = bench().table
    return [i for i, row in enumerate(table.rows) if table.states[row.state].name == state and row.origin == origin]


def test_the_acts_aimed_at_a_row_make_it_fire() -> None:
    """Each trip of the club while it holds, aimed at from the day's acts: the row itself fires in its state."""
    aims = Aims(club(), bench().table, bench().menu)
    fired = Counter[str]()
    for origin in ("trip stop", "trip gate"):
        for row in rows_of("holding", origin):
            for number in range(4):
                events, soonest = aims.row(random.Random(number), row, 1_000)
                kept = tuple(e for e in day().plan.events)
                trial = bench().try_(Plan((*kept, *events), settle_ms=2_000), enough=_never)
                fired[origin] += (row, "row", "") in trial.keys
                assert soonest > 1_000
    assert fired["trip stop"] >= 6 and fired["trip gate"] >= 2


def test_a_press_is_aimed_at_with_its_button_and_a_head_with_a_hand_that_latches_it() -> None:
    aims, table = Aims(club(), bench().table, bench().menu), bench().table
    aims.most = 0
    made = aims.bit(random.Random(0), table.bit_index("pressed"), True)
    assert [type(m.action) for m in made] == [Press] and made[0].fleeting
    latched = aims.bit(random.Random(0), table.bit_index("latched"), True)
    assert [m.action for m in latched] == [Latch("hold_down")]
    assert aims.bit(random.Random(0), table.bit_index("latched"), False) == []  # no hand lets it go
    shut = aims.bit(random.Random(3), table.bit_index("pad_shut"), True)
    assert any(m.action == Switch("gate", "shut") for m in shut) and max(m.after_ms for m in shut) >= 1_100  # filter and delay
    lost = aims.bit(random.Random(0), table.bit_index("radio_ok"), False)
    assert [m.action for m in lost] == [Strike("radio", "lost")]
    aims.most = 1
    opened = [m.action for n in range(20) for m in aims.bit(random.Random(n), table.bit_index("latched"), False)]
    assert opened and all(isinstance(a, Strike) and a.part in ("head", "hold_down") for a in opened)


def test_a_pin_is_drawn_where_a_row_asks_for_it() -> None:
    pad = load("configs/curlew.yaml")
    curlew = Bench(pad)
    aims = Aims(pad, curlew.table, curlew.menu)
    for inside in (True, False):
        made = aims.bit(random.Random(0), curlew.table.bit_index("pin_in"), inside)
        assert [type(m.action) for m in made] == [Pin] and isinstance(made[0].action, Pin) and made[0].action.inside == inside


def test_the_frontier_knows_what_has_not_been_visited() -> None:
    frontier = Frontier(bench().table, bench().menu.faults)
    spec = bench().table.states[frontier.index["holding"]]
    assert frontier.open_rows("holding") == list(range(spec.first_row, spec.end_row))
    frontier.learn(day().keys)
    fired = {k[0] for k in day().keys if k[1] == "row"}
    assert fired and not fired & set(frontier.open_rows("holding"))
    assert len(frontier.open_faults("holding")) == len(bench().menu.faults)
    struck = Plan((event(InState("holding", 0), Strike("radio", "lost")),), steps=True, settle_ms=2_000)
    frontier.learn(bench().try_(struck, enough=_never).keys)
    assert "radio: lost" not in {f.name for f in frontier.open_faults("holding")}
    stop = next(i for i, c in enumerate(bench().table.contacts) if c.name == "stop")
    assert {(i, level) for i, level in frontier.open_levels("holding") if i == stop} == {(stop, 0)}  # never pressed there


def test_a_row_that_only_fired_with_a_fault_is_still_open() -> None:
    struck = Plan((event(InState("holding", 0), Strike("radio", "lost")),), steps=True, settle_ms=2_000)
    keys = bench().try_(struck, enough=_never).keys
    frontier = Frontier(bench().table, bench().menu.faults)
    frontier.learn(keys)
    link = rows_of("holding", "trip link")[0]
    assert (link, "row", "radio: lost") in keys and link in frontier.open_rows("holding")


def test_stays_follow_the_moves() -> None:
    parent = Parent(Plan(), ((0, "dumping"), (60_000, "rest"), (70_000, "dumping")), 100_000)
    assert parent.stays == [(0, "dumping", 60_000, True), (60_000, "rest", 10_000, True), (70_000, "dumping", 30_000, False)]
    assert Parent(Plan()).stays == []


def test_a_changed_plan_keeps_within_its_faults_and_its_room() -> None:
    changer = Changer(club(), bench().table, bench().menu, Frontier(bench().table, bench().menu.faults))
    parent = Parent(day().plan, day().moves, day().ended_ms)
    names = Counter[str]()
    for most in (0, 1, 2):
        for number in range(150):
            rng = random.Random(f"{most}/{number}")
            made = changer.changed(rng, parent, Plan(steps=True), most)
            plan, patience, name = made.plan, made.patience_ms, made.name
            parts = [e.action.part for e in plan.strikes if isinstance(e.action, Strike)]
            aimed = [p for p in parts if p == "radio"] if most == 0 else []
            assert len(parts) - len(aimed) <= most and len(parts) == len(set(parts))
            assert len(plan.acts) <= max(MOST_ACTS, len(parent.plan.acts)) and patience > 0
            assert (plan.steps, plan.seed, plan.values) == (parent.plan.steps, parent.plan.seed, parent.plan.values)
            assert all(e.moment.after_ms < plan.settle_ms for e in plan.events if isinstance(e.moment, InState))
            names[name] += 1
    assert set(names) == set(changer.changes)
    again = changer.changed(random.Random("1/7"), parent, Plan(steps=True), 1)
    assert again == changer.changed(random.Random("1/7"), parent, Plan(steps=True), 1)


def test_a_change_that_pays_is_drawn_more() -> None:
    changer = Changer(club(), bench().table, bench().menu, Frontier(bench().table, bench().menu.faults))
    parent = Parent(day().plan, day().moves, day().ended_ms)

    def share(name: str) -> int:
        return sum(changer.changed(random.Random(number), parent, Plan(), 1).name == name for number in range(300))

    before = share("drop")
    for _ in range(200):
        for name in changer.changes:
            changer.told(Made(Plan(), 0, name), 3 if name == "drop" else 0)
    assert share("drop") > 2 * before


def test_a_campaign_begins_with_the_plain_day_and_with_nobody_there() -> None:
    plans = seeds_of(club())
    assert plans[0] == Plan() and plans[1] == Plan(steps=True) and len(plans[2].acts) > 8
    assert all(isinstance(e.moment, At) for e in plans[2].events)
    assert seeds_of(club().model_copy(update={"crew": club().crew.model_copy(update={"steps": []})})) == [Plan()]


def test_walks_come_with_the_gate() -> None:
    changer = Changer(club(), bench().table, bench().menu, Frontier(bench().table, bench().menu.faults))
    parent = Parent(day().plan, day().moves, day().ended_ms)
    walks = 0
    for number in range(400):
        plan = changer._act(random.Random(number), parent)
        fresh = plan.events[len(parent.plan.events) :]
        if any(isinstance(e.action, Walk) and e.action.direction == "in" for e in fresh):
            walks += any(e.action == Switch("gate", "not shut") for e in fresh)
    assert walks >= 5


def test_without_power_a_rule_about_the_box_is_told_and_is_no_failure() -> None:
    trial = bench().try_(Plan((event(InState("holding", 2_000), PowerOff()),), steps=True), enough=_never)
    dark = next(b for b in trial.breaches if b.rule == "beacon_means_gas")
    assert dark.unpowered and not dark.asked and dark.faults == ()
    lamp = Plan((event(InState("holding", 2_000), Strike("beacon", "dead")),), steps=True)
    assert not any(b.unpowered for b in bench().try_(lamp, enough=_never).breaches)


def test_a_messy_plan_that_breaks_a_pull_off_becomes_one_act_after_another_with_round_times() -> None:
    """The fault that only timing reveals: on the pad of planted logic a stop takes effect within a moment of the release."""
    pad = load("configs/planted_logic.yaml")
    planted = Bench(pad)
    acts = (
        event(InState("rest", 30_140), Press("button", 5_000)), event(InState("armed", 3_260), Press("button", 1_000)),
        event(InState("holding", 10_060), Press("button", 100)), event(InState("releasing", 20), Switch("gate", "not shut")),
        event(At(119_980), Walk("pad_hand", "out")),
    )  # fmt: skip
    messy = Plan((*acts, event(InState("releasing", 0), Strike("beacon", "dead"))), steps=True, settle_ms=10_000)
    trial = planted.try_(messy, enough=lambda b: b.rule == "pull_is_whole")
    breach = next(b for b in trial.breaches if b.rule == "pull_is_whole")
    assert breach.faults == ("beacon: dead",)
    small, last = shrink(planted, messy, breach)
    assert last.faults == () and last.asked and len(small.events) <= 4 and not small.strikes
    assert all(getattr(e.moment, "ms", getattr(e.moment, "after_ms", 1)) % 100 == 0 for e in small.events)
    found = Found("pull_is_whole", last.says, (), True, 1, small, last)
    kept = keep(pad, (found,))[0]
    assert kept.again and kept.run.verdict == "fail"
    assert "pull_is_whole" in "\n".join(failure(pad, kept, 1))


def test_what_brought_a_condition_about_is_a_recipe_for_it_elsewhere() -> None:
    """Nothing tells the campaign that an open hand dump takes the pressure away: it is seen once, and used from then on."""
    recipes = Recipes(bench().table)
    opened = event(InState("holding", 1_000), HandValve("hand_dump", True))
    trial = bench().try_(Plan((opened,), steps=True, settle_ms=2_000), enough=_never)
    full = bench().table.bit_index("at_pressure")
    recipes.learn([opened], trial)
    learned = recipes.draw(random.Random(0), full, False, 0)
    assert learned is not None and learned.steps == ((0, HandValve("hand_dump", True)),) and 0 < learned.after_ms < 5_000
    aims = Aims(club(), bench().table, bench().menu, recipes)
    drawn = [aims.bit(random.Random(n), full, False) for n in range(20)]
    assert any(m.action == HandValve("hand_dump", True) for made in drawn for m in made) and learned in aims.used
    recipes.known.clear()
    leak = event(InState("holding", 1_000), Strike("dump_line", "leaks"))
    recipes.learn([leak], bench().try_(Plan((leak,), steps=True, settle_ms=2_000), enough=_never))
    assert all(one.strikes == 1 for some in recipes.known.values() for one in some)
    assert all(recipes.draw(random.Random(0), bit, value, 0) is None for bit, value in recipes.known)  # each takes a fault


def test_what_a_rule_needs_is_taken_away_at_the_very_start_it_guards() -> None:
    """The dump may shut only while stop is not pressed, and `armed` shuts it: stop stands pressed before the day's arming in some of the ways drawn against that."""
    changer = Changer(club(), bench().table, bench().menu, Frontier(bench().table, bench().menu.faults))
    looked = [(leaf.input, so) for states, leaf, so in changer.aims.against if isinstance(leaf, SwitchIs) and "armed" in states]
    assert ("stop", False) in looked
    parent = Parent(Plan(steps=True), day().moves, day().ended_ms)
    armed, held = next(ms for ms, state in day().moves if state == "armed"), 0
    for number in range(400):
        events = changer._against(random.Random(number), parent).events
        held += any(e.action == Switch("stop", "pressed") and isinstance(e.moment, At) and armed - 20_000 <= e.moment.ms < armed for e in events)
    assert held >= 3


def test_a_recipe_that_pays_is_drawn_more_and_one_in_vain_less() -> None:
    recipes = Recipes(bench().table, {(0, True): [Recipe(((0, Press("stop")),), 100), Recipe(((0, Press("button")),), 100)]})
    good, bad = recipes.known[0, True]
    changer = Changer(club(), bench().table, bench().menu, Frontier(bench().table, bench().menu.faults))
    for _ in range(20):
        changer.told(Made(Plan(), 0, "aim", (7,), (good,)), 1, {7})
        changer.told(Made(Plan(), 0, "aim", (7,), (bad,)), 1, {8})
    drawn = [recipes.draw(random.Random(n), 0, True, 0) for n in range(200)]
    assert drawn.count(good) > 5 * drawn.count(bad)


def test_the_files_own_drills_are_days_to_start_from() -> None:
    plans = of_drills(club())
    assert 5 < len(plans) <= len(club().drills)
    stopped = next(plan for plan in plans if plan.acts[:1] == (event(InState("filling", 0), Press("stop")),))
    assert [state for _, state in bench().try_(stopped, enough=_never).moves][3:5] == ["filling", "dumping"]


def test_a_share_of_a_campaign_is_drawn_blindly_and_the_same_by_seed() -> None:
    work = _Work(bench(), 1)
    work.day, work.simulated = recorded(club()), 1_000.0
    work.take(day(), keep=True)
    (group, made), *others = work.drawn(5, 0, 1000)
    assert made == [] and group.whole and group.variants == () and all(not other.whole or other.variants for other, _ in others)
    again = blind(random.Random("5/0/blind"), bench().menu, work.day, work.faults)
    assert again == group.plan
    work.blind_ms = 1_000_000
    assert all(group.variants for group, _ in work.drawn(5, 0, 1000))


def test_a_state_that_is_not_left_as_it_was_times_out() -> None:
    """Waiting acts: of the ways drawn to keep the club from leaving `armed` some let it time out."""
    changer = Changer(club(), bench().table, bench().menu, Frontier(bench().table, bench().menu.faults))
    plan = in_states(day().plan, day().moves)
    moves = tuple(move for move in day().moves if move[0] <= next(ms for ms, state in day().moves if state == "filling"))
    parent, seen = Parent(plan, moves, day().ended_ms), False
    for number in range(60):
        changer.rows, changer.due_ms, changer.most = [], 0, 0
        waiting = changer._wait(random.Random(number), parent)
        if changer.rows and bench().table.states[bench().table.rows[changer.rows[0]].state].name == "armed":
            trial = bench().try_(replace(waiting, settle_ms=changer.due_ms), enough=_never)
            seen = seen or (changer.rows[0], "row", "") in trial.keys
        if seen:
            break
    assert seen
