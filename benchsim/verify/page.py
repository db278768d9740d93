"""A report as one HTML page that needs nothing else: no script, no font, no picture from elsewhere."""

from __future__ import annotations

from html import escape

from benchsim.verify.judged import Judged
from benchsim.verify.run import Report
from benchsim.verify.wording import CAUTION, SIMULATED, facts_of, figure, summary_of, verdict_of

STYLE = """
:root { color-scheme: light dark; }
body { font: 15px/1.45 system-ui, sans-serif; margin: 2rem auto; max-width: 62rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .3rem; } h2 { font-size: 1.05rem; margin: 1.8rem 0 .4rem; }
.caution { border: 2px solid #b45309; border-radius: 6px; padding: .7rem 1rem; margin: 1rem 0; }
.caution b { letter-spacing: .06em; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .15rem 1rem; margin: 1rem 0; }
dt { font-weight: 600; } dd { margin: 0; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; padding: .22rem .6rem .22rem 0; border-bottom: 1px solid #8884; }
th { font-weight: 600; } td.n, th.n { text-align: right; white-space: nowrap; }
.ok { color: #15803d; } .fail { color: #dc2626; font-weight: 700; } .none { color: #8a8a8a; }
.clause { font-weight: 400; color: #777; margin-left: .6rem; }
@media (prefers-color-scheme: dark) { .ok { color: #4ade80; } .fail { color: #f87171; } }
@media print { body { max-width: none; margin: 0; } h2 { break-after: avoid; } tr { break-inside: avoid; } }
"""
CLASSES = {True: "ok", False: "fail", None: "none"}


def page_of(report: Report, title: str, file: str) -> str:
    """The whole page.  title, file: of the scenario that describes the scale, as told."""
    facts = "".join(f"<dt>{escape(k)}</dt><dd>{escape(v)}</dd>" for k, v in facts_of(report, file))
    word = "ok" if report.passed else "fail"
    body = "".join(_procedure(report, tests) for tests in report.by_procedure())
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>SIMULATED: {escape(title)}</title>
<style>{STYLE}</style>
</head>
<body>
<h1>{escape(title)}</h1>
<p class="{word}">{escape(summary_of(report))}</p>
<div class="caution"><b>{escape(SIMULATED)}</b> {escape(CAUTION)}</div>
<dl>{facts}</dl>
{body}</body>
</html>
"""


def _procedure(report: Report, tests: tuple[Judged, ...]) -> str:
    first = tests[0]
    head = f'<h2>{escape(first.title)}<span class="clause">{escape(first.clause)}</span></h2>\n'
    if first.passed is None:
        return f'{head}<p class="none">{escape(first.indication)}</p>\n'
    counted = escape(report.subject.counted)
    rows = "".join(map(_row, tests))
    return (
        f"{head}<table>\n<thead><tr><th></th><th>test</th><th class=n>load</th><th class=n>indication</th>"
        f"<th class=n>error, {counted}</th><th class=n>limit, {counted}</th></tr></thead>\n{rows}</table>\n"
    )


def _row(test: Judged) -> str:
    cells = (test.load, test.indication, figure(test.error_e), figure(test.limit_e))
    numbers = "".join(f"<td class=n>{escape(c)}</td>" for c in cells)
    mark = f'<td class="{CLASSES[test.passed]}">{verdict_of(test)}</td>'
    return f"<tr>{mark}<td>{escape(test.part)}</td>{numbers}</tr>\n"
