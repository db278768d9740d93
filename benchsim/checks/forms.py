"""The check language as a table: every form, what it means, and an example that the tests read."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Form:
    """A line of the table.  part: when, how, weight, statement, while or how often."""

    part: str
    form: str
    meaning: str
    example: str


FORMS = (
    Form("when", "at T", "what stood at that time", "at 15 s gross is 18.4 t within 1 d"),
    Form("when", "within D after T", "at one moment of that stretch", "within 8 s after 20 s motion is on"),
    Form(
        "when",
        "from T to T",
        "all through: a moment without a figure fails it, unless a `while` leaves that out",
        "from 41 s to 44 s indication is invalid",
    ),
    Form("when", "from T on", "all through to the end", "from 30 s on stable is on"),
    Form("when", "until T", "all through from the start", "until 5 s gross is zero while valid"),
    Form(
        "when",
        "during fault NAME",
        "from its start to its end",
        "during fault link-outage indication is invalid",
    ),
    Form(
        "when",
        "T: 12.5 s, 2 min, the end",
        "a time from the run's start",
        "at the end gross is 0 kg within 1 d",
    ),
    Form(
        "when",
        "T: the start of fault NAME, the end of fault NAME",
        "when a fault began or ended",
        "within 5 s after the end of fault link-outage node 2 is flow",
    ),
    Form(
        "how",
        "always",
        "at every moment; over the whole run from the first figure on",
        "always gross is not above 60.18 t",
    ),
    Form("how", "never", "at no moment; one without a figure does not break it", "never overload is on"),
    Form(
        "how",
        "for at least D",
        "once, for as long as that or longer; after `from` and `until` inside that time",
        "for at least 3 s stable is on",
    ),
    Form(
        "how",
        "never for more than D",
        "no time longer than that",
        "never for more than 2 s indication is invalid",
    ),
    Form(
        "weight",
        "W: gross, net, tare, shown, true mass, error, cell N",
        "shown: net while a tare acts, else gross; error: gross less true mass; cell N: as the host has it",
        "at 12 s cell 3 is between 2 t and 4 t",
    ),
    Form(
        "weight",
        "W: fine gross, fine net, fine error",
        "the same in tenths of d, so that rounding to d hides less",
        "at 15 s fine error is within mpe",
    ),
    Form(
        "weight",
        "W is [not] Q [within TOL]",
        "Q: a mass, counts of d or e, zero, or another W",
        "at 9 s net is zero within 0.5 d",
    ),
    Form("weight", "W is [not] within TOL of Q", "the same", "at 9 s gross is within 20 kg of true mass"),
    Form("weight", "W is [not] above, below, at least, at most Q", "", "always net is at most gross"),
    Form(
        "weight",
        "W is [not] between Q and Q",
        "both ends count",
        "at 9 s shown is between 18.3 t and 18.5 t",
    ),
    Form("weight", "error is [not] within TOL", "to either side", "at 15 s error is within 1 d"),
    Form("weight", "W is steady for D", "no change for so long or longer", "at 9 s gross is steady for 2 s"),
    Form(
        "weight",
        "TOL: 1 d, 1 e, 20 kg, 0.5 %",
        "%: of Q, which is not zero",
        "at 9 s gross is 18.4 t within 0.5 %",
    ),
    Form(
        "weight",
        "TOL: [0.7] [maintenance, acceptance, in-service, initial] mpe",
        "of the rule profile, for the true load; initial unless said otherwise",
        "from 9 s to 15 s error is within maintenance mpe",
    ),
    Form(
        "weight",
        "TOL: zero window",
        "the centre-of-zero band of the rule profile",
        "at 2 s error is within zero window",
    ),
    Form(
        "statement",
        "motion, stable, centre of zero, overload, underload, zero error, initial zero error, tare error, "
        "net shown, preset tare is [not] on, off",
        "a flag of a valid indication",
        "at 2 s centre of zero is on",
    ),
    Form(
        "statement",
        "indication is [not] valid, invalid, blank, stable, in motion, at zero, overloaded, underloaded",
        "blank: no weight figure may be shown",
        "from 31 s to 35 s indication is blank",
    ),
    Form(
        "statement",
        'indication is invalid with reason [contains, is, matches] "..."',
        "contains, unless said otherwise",
        'at 42 s indication is invalid with reason "node 2"',
    ),
    Form(
        "statement",
        "node N is [not] idle, seek, prove, flow, lost, failed, released [with reason ...]",
        "an address as its host sees it",
        'at 4 s node 2 is failed with reason "two nodes on one address"',
    ),
    Form(
        "statement",
        "recorded",
        "a weighing was let through the interlock",
        "never recorded while in motion",
    ),
    Form(
        "statement",
        "recording, command NAME is done, refused [with reason ...]",
        "NAME: zero, tare, preset tare, clear tare, record; at T: given at exactly T",
        'at 30 s recording is refused with reason "motion"',
    ),
    Form(
        "statement",
        'answer of PROTOCOL is [not], contains, starts with, matches "..."',
        "its bytes, with \\n \\r \\t \\x0A; at T: the last one up to T; is not: none is, all through",
        'at 50.1 s answer of scp0499 is "\\n 1G        18400kg \\r"',
    ),
    Form(
        "while",
        "... while STATE [and STATE ...]",
        "only the moments when that holds too",
        "always fine error is within mpe while stable and true mass is steady for 2 s",
    ),
    Form(
        "how often",
        "... exactly, at least, at most N times; once, twice",
        "how often it happened, or how often a state began: one that stands at the start counts; "
        "one that is back after moments without a figure is the same one",
        "from 0 s to 60 s recorded exactly 2 times",
    ),
)
