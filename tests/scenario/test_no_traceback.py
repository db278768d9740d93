"""A bad file never gets a traceback: a shipped scenario with any one value replaced is read or refused."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BenchsimError
from benchsim.ground.library import shipped
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load_text
from benchsim.scenario.text import read
from tests.nested import replaced, ways

DOCUMENTS = [read(p.read_text("utf-8"), p.name)[0] for p in sorted(shipped("scenarios").glob("*.yaml"))]
ODD = st.sampled_from(
    [
        *(None, True, -1, 0, 3, 16, 17, 2**70, 1e308, "", "x", "on", [], {}, {"a": 1}, "\u0000", "€"),
        *(
            "5 s",
            "0 s",
            "1000 h",
            "10 us",
            "3 t",
            "1e5 t",
            "-1 kg",
            "1e-9 kg",
            "18 m",
            "1e3 m",
            "7 Hz",
            "999 Hz",
        ),
        *("100 %", "1 ppm", "99 mV/V", "-99 mV/V", "1e9 counts", "200 km/h", "centred", "over cell 1"),
        *(
            "over cell 16",
            ["1 m", "1 m"],
            "all",
            "cell 1",
            "node 9",
            "address 1",
            "zero",
            "r76-iii",
            "scp0499",
        ),
        *("outage", "at 1 s gross is zero"),
    ]
)


@given(st.data())
def test_a_scenario_with_one_value_replaced_is_read_or_refused_with_places(data: st.DataObject) -> None:
    document = data.draw(st.sampled_from(DOCUMENTS))
    way = data.draw(st.sampled_from(list(ways(document))))
    text = json.dumps(replaced(document, way, data.draw(ODD)), ensure_ascii=False)
    refused = ""
    try:
        assemble(load_text(text, "s.yaml"))
    except BenchsimError as error:
        refused = str(error)
    assert all(line.startswith("s.yaml:") for line in refused.splitlines())
