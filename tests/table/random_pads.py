"""Random small files as text: every kind of condition, trips, exits, inhibits, targets."""

from __future__ import annotations

from hypothesis import strategies as st

HEAD = "title: Random pad\nrevision: 1\nscan: 10 ms\npressures: gauge\n"
TIMES = ["10 ms", "20 ms", "25 ms", "30 ms", "50 ms"]
BARS = [f"{n / 100:.2f} bar" for n in range(0, 130, 7)] + ["0.50 bar", "0.505 bar", "0.333 bar"]


@st.composite
def condition(draw: st.DrawFn, above: list[str], states: list[str]) -> str:
    """One condition sentence over inputs k0, k1 (contacts), p0 and p1 (up), p2 (down), h0, and the names above."""
    time, bar = st.sampled_from(TIMES), st.sampled_from(BARS)
    kinds = ["contact", "press", "least", "below", "valid", "heard", "state", "command", "differs", "state change", "target"]
    kinds += ["and", "or", "memory", "memory", "change", "change"] if above else []
    kind = draw(st.sampled_from(kinds))
    reading = draw(st.sampled_from(["p0", "p1", "p2"]))
    delays = draw(st.sampled_from(["", "", f" for {draw(time)}", f" lingers {draw(time)}", f" for {draw(time)} lingers {draw(time)}"]))
    maybe_not = draw(st.sampled_from(["", "not "]))
    names = draw(st.lists(st.sampled_from(above), min_size=1, max_size=2, unique=True)) if above else []
    low, high = sorted((draw(bar), draw(bar)), key=lambda b: float(b.split()[0]))
    if kind == "contact":
        return draw(st.sampled_from(["k0 is on", "k0 is not on", "k1 is pressed"])) + delays
    if kind == "press":
        return draw(st.sampled_from(["k0 becomes on", "k1 becomes pressed", "k0 becomes not on"])).replace("becomes not on", "becomes on")
    if kind == "least":
        return f"{reading} at least {high}" + (f" until below {low}" if draw(st.booleans()) and low != high else "") + delays
    if kind == "below":
        return f"{reading} below {low}" + (f" until at least {high}" if draw(st.booleans()) and low != high else "") + delays
    if kind == "valid":
        return f"{reading} is {maybe_not}valid{delays}"
    if kind == "heard":
        return f"h0 heard within {draw(st.sampled_from(['10 ms', '20 ms', '35 ms']))}{delays}"
    if kind == "state":
        return f"state is {maybe_not}{draw(st.sampled_from(states))}{delays}"
    if kind == "command":
        return f"command for o0 is {draw(st.sampled_from(['off', 'on']))}{delays}"
    if kind == "differs":
        return f"p0 differs from p1 by {draw(st.sampled_from(['at least', 'less than']))} {draw(st.integers(1, 60))}.5 mbar".replace(
            " ", " "
        ).replace("mbar", "kPa") + delays
    how, much = draw(st.sampled_from(["rises", "falls"])), draw(st.sampled_from(["at least", "less than"]))
    if kind in ("change", "state change"):
        since = draw(st.sampled_from(above)) if kind == "change" else draw(st.sampled_from(states))
        return f"{reading} {how} {much} {draw(st.sampled_from(['0.055 bar', '0.1 bar', '0.075 bar']))} in {draw(time)} after {since} starts{delays}"
    if kind == "target":
        return f"{draw(st.sampled_from(['p0', 'p1']))} reaches target{draw(st.sampled_from(['', ' until below by 0.1 bar']))}{delays}"
    if kind in ("and", "or"):
        return f" {kind} ".join(names) + delays if len(names) > 1 else f"not {names[0]}" + delays
    until = f" until {draw(st.sampled_from(above))}" if draw(st.booleans()) else ""
    joined = draw(st.sampled_from([" and ", " or "])).join(names)
    return f"remembers {joined}{until}" + (f" for at most {draw(time)}" if draw(st.booleans()) else "")


@st.composite
def pad_texts(draw: st.DrawFn) -> str:
    """The text of a random file; some are refused by the reader for good reasons."""
    steady = [draw(st.sampled_from(["0 ms", "10 ms", "20 ms"])) for _ in range(2)]
    lines = [
        HEAD + "inputs:",
        f"  k0: {{contact: closes when on, steady_for: {steady[0]}}}",
        f"  k1: {{contact: opens when pressed, steady_for: {steady[1]}}}",
        *(f"  p{i}: {{analog: 8 bit, reads: tank, points: {points}, accuracy: 0.01 bar, valid: 6 to 130}}"
          for i, points in enumerate(["{10: 0 bar, 110: 1 bar}", "{10: 0 bar, 110: 1 bar}", "{110: 0 bar, 10: 1 bar}"])),
        "  h0: {heartbeat: every 20 ms}",
        "outputs:",
        "  o0: {relay: [off, on], rest: off}",
        "  o1: {valve: [open, shut], rest: open}",
        "site:",
        "  tank: {volume: 1 l, rated: 2 bar}",
        "conditions:",
    ]  # fmt: skip
    states = [f"s{i}" for i in range(draw(st.integers(1, 4)))]
    names: list[str] = []
    for i in range(draw(st.integers(1, 7))):
        lines.append(f"  c{i}: {draw(condition(list(names), states))}")
        names.append(f"c{i}")
    time = st.sampled_from(["0 ms", *TIMES])

    def once() -> str:
        picked = draw(st.lists(st.sampled_from(names), min_size=1, max_size=3, unique=True))
        return draw(st.sampled_from([" and ", " or "])).join(draw(st.sampled_from(["", "not "])) + name for name in picked)

    lines.append("states:")
    for name in states:
        o0, o1 = draw(st.sampled_from(["off", "on"])), draw(st.sampled_from(["open", "shut"]))
        target = draw(st.sampled_from(["", "", ", targets: {p0: 0.6 bar}", ", targets: {p0: 0.35 bar, p1: 0.62 bar}"]))
        lines.append(f"  {name}:")
        lines.append(f"    says: State {name}.")
        lines.append(f"    outputs: {{o0: {o0}, o1: {o1}}}")
        if target:
            lines.append(f"    targets: {target.removeprefix(', targets: ')}")
        exits = []
        for _ in range(draw(st.integers(0, 2))):
            to = draw(st.sampled_from(states))
            kind = draw(st.sampled_from(["once", "once from", "late", "both"]))
            exits.append({
                "once": f"{{go_to: {to}, once: {once()}}}",
                "once from": f"{{go_to: {to}, once: {once()}, not_before: {draw(time)}}}",
                "late": f"{{go_to: {to}, at_latest: {draw(st.sampled_from(TIMES))}}}",
                "both": f"{{go_to: {to}, once: {once()}, at_latest: {draw(st.sampled_from(TIMES))}}}",
            }[kind])  # fmt: skip
        lines.append("    leave:" if exits else "    stays: it just does")
        lines += [f"      - {text}" for text in exits]
    if draw(st.booleans()):
        but = draw(st.lists(st.sampled_from(states), max_size=2, unique=True))
        lines += ["trips:", f"  trip: {{everywhere_but: [{', '.join(but)}], once: {once()}, go_to: {draw(st.sampled_from(states))}}}"]
    if draw(st.booleans()):
        lines += ["inhibits:", f"  o0 stays off: {{once: {once()}}}"]
    return "\n".join(lines) + "\n"
