"""What `protocols nodelink` prints: where the node link is specified, and what each k costs on some ways."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from benchsim.ground.library import shipped
from benchsim.link import cable, radio
from benchsim.link.cable import Cable
from benchsim.link.figures import Figures, Flow, batching, ms
from benchsim.link.impairments.rate import Rate
from benchsim.link.radio import Radio

NAME = "nodelink"
TITLE = "how nodes and hosts talk: pairing, sessions, samples"


def some_ways() -> list[tuple[str, Rate]]:
    """Ways to compare: a radio of each kind of modulation, a serial line, each as a scenario has it."""
    spread, shifted = Radio(100.0), Radio(100.0, modulation="fsk")
    line = Cable(100.0, 115_200)
    return [
        ("spread radio", radio.rate_of(spread)),
        ("fsk radio", radio.rate_of(shifted)),
        ("serial line", cable.rate_of(line)),
    ]


def document() -> dict[str, Any]:
    """All of it as numbers, for programs."""
    flow = Flow()
    return {
        "name": NAME,
        "title": TITLE,
        "folder": str(shipped("protocols") / NAME),
        "rate_hz": flow.rate_hz,
        "channels": flow.channels,
        "ways": [
            {
                "way": name,
                "bits_per_s": rate.bits_per_s,
                "batching": [{"samples_per_frame": k, **asdict(f)} for k, f in batching(flow, rate)],
            }
            for name, rate in some_ways()
        ],
    }


def show() -> None:
    """The same for people."""
    from rich.text import Text

    from benchsim.cli.text import console, facts, print_table

    flow, ways = Flow(), some_ways()
    out = console()
    out.print(Text.assemble((NAME, "bold"), f"  {TITLE}"))
    out.print(facts([("specification", str(shipped("protocols") / NAME))]))
    out.print()
    out.print(
        f"k samples a frame, at {flow.rate_hz} Hz and {flow.channels} channels: air time of a frame, the "
        "share of all time that one node takes, and the age of a frame's first sample as it arrives"
    )
    tables = [dict(batching(flow, rate)) for _, rate in ways]
    print_table(
        ("k", "octets", *(f"{name}, {rate.bits_per_s / 1000:g} kbit/s" for name, rate in ways)),
        (
            (str(k), str(found.octets), *(_cell(table[k]) for table in tables))
            for k, found in tables[0].items()
        ),
        narrow=("k", "octets"),
    )
    out.print("`run` and `serve` print the same for each radio, cable and rate of a scenario, at its own k.")


def _cell(found: Figures) -> str:
    lost = ": too much" if found.busy > 1 else ""
    return f"{ms(found.air_us)}, {100 * found.busy:.3g} %{lost}, {ms(found.latency_us)}"
