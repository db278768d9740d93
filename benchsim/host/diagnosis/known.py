"""How often each fault showed each word of each sign, counted on simulated visits of scales of many kinds.

An entry: name | where its target is | visits | sign: so often this word, so often that one.  A sign that is
not named showed its first word in all visits.  Written by `python -m tests.benchmarks.learn_diagnosis`.
"""

from __future__ import annotations

from benchsim.host.diagnosis.weighing import Known, read_table

TABLE = """
healthy | - | 80 |
floor-vibration | site | 14 | answer: 13 as due, 1 a little more | share: 13 as due, 1 another | scatter: 13
  none, 1 some | loop: 13 none, 1 less when falling | late: 13 none, 1 falls back | jumps: 8 none, 6 jumps |
  rough: 11 smooth, 3 rough | line: 12 line, 2 none | cells: 11 all, 2 one, 1 none | sum: 13 right, 1 more |
  blank: 11 always, 2 no, 1 at times
gusty-wind | site | 14 | marks: 13 good, 1 stop at times | answer: 5 as due, 2 a little more, 2 a little
  less, 2 far less, 1 less, 1 more, 1 far more | zero: 6 a little high, 2 far low, 2 right, 2 far high, 1
  low, 1 a little low | share: 9 another, 5 as due | scatter: 5 none, 5 wild, 4 some | loop: 5 less when
  falling, 5 none, 4 more when falling | return: 7 to and fro, 3 comes back, 2 steps down, 1 steps up, 1
  moves up | late: 6 none, 5 goes on, 3 falls back | jumps: 11 jumps, 2 none, 1 far jumps | swings: 11 soon
  still, 3 swings on | rough: 9 smooth, 4 very rough, 1 rough | cells: 10 all, 2 none, 2 one | alike: 9 not,
  2 less, 1 more | sum: 5 more, 5 less, 4 right | zero sum: 8 high, 5 low, 1 right | sum returns: 6 comes
  back, 5 moves up, 3 moves down | held: 2 no, 1 yes | blank: 11 always, 2 no, 1 at times
temperature-swing | site | 8 | answer: 6 as due, 1 a little less, 1 a little more | zero: 7 right, 1 a
  little high | share: 6 another, 2 as due | scatter: 6 none, 2 some | loop: 7 none, 1 more when falling |
  return: 5 moves up, 2 to and fro, 1 steps down | late: 6 none, 1 falls back, 1 goes on | cells: 8 all |
  alike: 6 not, 1 less, 1 more | sum: 6 right, 1 less, 1 more | zero sum: 6 right, 2 high | sum returns: 7
  moves up, 1 moves down
binding-support | cell | 14 | answer: 6 far less, 4 less, 2 a little less, 1 more, 1 as due | share: 12
  another, 2 as due | scatter: 8 wild, 4 some, 2 none | loop: 9 more when falling, 3 none, 2 less when
  falling | return: 7 to and fro, 3 steps up, 2 comes back, 1 moves up, 1 steps down | cells: 14 one | sum:
  11 less, 2 right, 1 more | sum returns: 7 moves up, 4 comes back, 3 moves down
low-support | cell | 14 | answer: 8 less, 6 far less | zero: 14 as its answer | share: 14 another | cells: 8
  all, 6 several | signs differ: 14 yes | support: 14 gave way
mud | deck | 14 | answer: 12 as due, 2 a little more | zero: 5 high, 4 far high, 3 a little high, 2 right |
  share: 13 another, 1 as due | scatter: 12 none, 2 some | loop: 13 none, 1 less when falling | return: 7
  comes back, 5 moves up, 2 steps up | late: 10 none, 2 falls back, 2 goes on | jumps: 10 none, 4 jumps |
  swings: 13 soon still, 1 swings on | rough: 12 smooth, 1 very rough, 1 rough | cells: 10 all, 3 one, 1
  none | alike: 10 not, 1 more | sum: 13 right, 1 more | zero sum: 12 high, 2 right | sum returns: 8 moves
  up, 6 comes back | held: 6 no, 1 yes | blank: 7 always, 4 no, 3 at times
pipe-reaction | deck | 14 | answer: 8 less, 5 a little less, 1 as due | zero: 12 as its answer, 2 right |
  share: 13 another, 1 as due | scatter: 8 some, 6 none | cells: 5 all, 4 several, 3 one, 1 none, 1 one's
  node | alike: 10 not, 1 less | sum: 14 less | zero sum: 10 low, 4 right
pressure-thrust | deck | 14 | marks: 12 good, 1 stop at times, 1 stop | answer: 11 as due, 1 less | zero: 4
  high, 3 low, 3 far high, 2 a little low, 1 far low | share: 13 another | scatter: 11 none, 1 some | cells:
  8 all, 3 several, 3 one | zero sum: 7 high, 6 low | blank: 9 no, 5 always
sun-on-deck | deck | 14 | marks: 8 good, 6 stop at times | answer: 8 far more, 4 far less, 1 the wrong way,
  1 a little less | zero: 10 high, 2 low, 1 a little low, 1 right | share: 12 another, 2 none | scatter: 13
  wild, 1 none | loop: 5 more when falling, 4 none, 3 less when falling | return: 5 moves up, 3 steps up, 3
  to and fro, 2 steps down, 1 moves down | late: 7 falls back, 6 goes on, 1 none | jumps: 9 far jumps, 5
  jumps | swings: 11 soon still, 3 swings on | rough: 11 smooth, 3 rough | cells: 14 all | sum: 7 right, 5
  more, 2 less | sum returns: 9 comes back, 5 moves up | signs differ: 14 yes | shown late: 13 no, 1 yes |
  blank: 7 at times, 7 no
sunken-support | cell | 14 | answer: 9 far less, 3 as due, 1 a little less, 1 less | zero: 11 low, 3 far low
  | share: 10 another, 4 none | scatter: 10 wild, 3 none, 1 some | cells: 10 all, 4 several | alike: 13 not,
  1 less | signs differ: 14 yes | support: 14 stands low
weak-damping | deck | 14 | answer: 8 as due, 6 a little less | loop: 8 none, 6 more when falling | return: 8
  comes back, 6 to and fro | late: 8 falls back, 6 none | swings: 14 swings on | rough: 12 very rough, 2
  rough | line: 14 strong line | cells: 14 all | alike: 8 not, 6 less | sum: 8 right, 6 less | sum returns:
  13 comes back, 1 moves up | shown late: 11 yes, 3 no | blank: 12 no, 2 at times
wedged-object | deck | 14 | answer: 8 far less, 6 less | zero: 8 low, 5 right, 1 far low | share: 12
  another, 2 none | scatter: 8 wild, 5 some, 1 none | cells: 11 all, 3 several | alike: 13 not, 1 less |
  sum: 14 less | zero sum: 9 low, 5 right | blank: 12 no, 2 at times
creep-out-of-class | cell | 6 | answer: 4 a little less, 2 a little more | share: 6 another | scatter: 5
  none, 1 some | loop: 4 none, 2 more when falling | return: 2 moves up, 2 comes back, 1 steps up, 1 moves
  down | late: 5 none, 1 goes on | cells: 6 one | sum: 4 less, 2 more | sum returns: 5 comes back, 1 moves
  up
dead-cell | cell | 14 | answer: 14 none | zero: 14 as its answer | share: 14 none | cells: 14 one | sum: 14
  less | zero sum: 14 low
drifting-arm | cell | 20 | answer: 19 as due, 1 a little more | zero: 5 high, 4 low, 4 a little high, 3 a
  little low, 2 right, 2 far low | share: 20 another | scatter: 17 none, 3 some | return: 10 comes back, 4
  moves down, 4 moves up, 1 steps down, 1 steps up | late: 17 none, 2 goes on, 1 falls back | jumps: 16
  none, 4 jumps | cells: 20 one | sum: 19 right, 1 more | zero sum: 9 high, 7 low, 4 right | sum returns: 10
  comes back, 5 moves down, 5 moves up | blank: 19 no, 1 at times
hysteresis-out-of-class | cell | 14 | answer: 8 as due, 3 a little more, 3 a little less | zero: 11 right, 2
  as its answer, 1 a little high | share: 10 another, 4 as due | scatter: 11 some, 3 none | loop: 9 more
  when falling, 5 less when falling | return: 7 moves down, 3 moves up, 2 steps down, 2 steps up | cells: 14
  one | sum: 10 right, 2 more, 2 less | sum returns: 9 moves down, 5 moves up
open-arm | cell | 14 | marks: 14 stop | cells: 14 one | blank: 14 always
poor-repeatability | cell | 11 | answer: 6 a little more, 5 a little less | share: 11 another | scatter: 11
  some | loop: 8 less when falling, 2 none, 1 more when falling | return: 8 comes back, 3 to and fro |
  cells: 11 one | sum: 6 more, 5 less
span-drift | cell | 14 | answer: 9 a little more, 5 a little less | zero: 8 right, 6 as its answer | share:
  14 another | scatter: 11 none, 3 some | loop: 12 none, 1 less when falling, 1 more when falling | return:
  11 comes back, 2 moves down, 1 moves up | late: 12 none, 1 falls back, 1 goes on | cells: 14 one | sum: 9
  more, 5 less | sum returns: 13 comes back, 1 moves down
weak-spring | cell | 14 | answer: 4 less, 4 more, 3 a little less, 2 a little more, 1 far less | zero: 9
  right, 2 a little high, 1 low, 1 a little low, 1 high | share: 14 another | scatter: 12 some, 2 wild |
  loop: 8 less when falling, 6 more when falling | return: 6 moves down, 5 moves up, 2 steps down, 1 steps
  up | cells: 14 one | sum: 8 less, 6 more | zero sum: 9 right, 3 high, 2 low | sum returns: 8 moves down, 6
  moves up | blank: 8 no, 6 at times
zero-shift | cell | 14 | zero: 6 low, 5 high, 3 a little low | share: 14 another | cells: 14 one | zero sum:
  9 low, 5 high
corroded-terminal | cell | 4 | answer: 4 less | zero: 3 as its answer, 1 a little low | share: 4 another |
  return: 3 comes back, 1 steps down | cells: 4 one | sum: 4 less | zero sum: 3 low, 1 right | sum returns:
  3 comes back, 1 moves down
damp-nights | cell | 14 | answer: 9 as due, 2 a little less, 2 more, 1 less | zero: 10 right, 1 a little
  high, 1 low, 1 high, 1 as its answer | share: 14 another | scatter: 9 none, 3 some, 2 wild | loop: 10
  none, 2 less when falling, 2 more when falling | return: 7 moves down, 3 moves up, 2 steps up, 1 to and
  fro, 1 steps down | late: 9 none, 3 falls back, 2 goes on | jumps: 9 none, 5 jumps | rough: 13 smooth, 1
  rough | cells: 14 one | sum: 10 right, 2 less, 2 more | zero sum: 12 right, 1 low, 1 high | sum returns: 8
  moves down, 5 moves up, 1 comes back | shown late: 12 no, 2 yes | blank: 12 no, 2 at times
loose-terminal | cell | 20 | marks: 9 open at times, 7 reference at stop at times, 4 reference at times |
  cells: 20 one | blank: 20 at times
lost-sense | cell | 14 | marks: 14 reference at stop | cells: 14 one | blank: 14 always
open-terminal | cell | 14 | marks: 10 open, 4 reference | cells: 14 one | blank: 14 always
shorted-terminals | cell | 14 | marks: 8 stop, 5 reference at stop, 1 good | answer: 1 none | zero: 1 as its
  answer | share: 1 none | cells: 14 one | sum: 1 less | zero sum: 1 low | blank: 13 always, 1 no
swapped-excitation | cell | 14 | answer: 14 turned | zero: 14 as its answer | share: 14 turned | cells: 14
  one | sum: 14 less | zero sum: 14 low
swapped-sense | cell | 14 | marks: 14 reference at stop | cells: 14 one | blank: 14 always
swapped-signal | cell | 14 | answer: 14 turned | zero: 14 as its answer | share: 14 turned | cells: 14 one |
  sum: 14 less | zero sum: 14 low | held: 13 no, 1 yes | blank: 12 no, 2 at times
wet-connector | cell | 20 | answer: 17 as due, 2 a little more, 1 more | zero: 8 high, 5 low, 3 far high, 2
  a little low, 1 right, 1 a little high | share: 20 another | scatter: 14 none, 5 some, 1 wild | return: 10
  comes back, 5 steps up, 3 moves up, 2 moves down | late: 16 none, 3 goes on, 1 falls back | jumps: 13
  none, 6 jumps, 1 far jumps | rough: 19 smooth, 1 rough | cells: 20 one | zero sum: 11 high, 6 low, 3 right
  | sum returns: 10 comes back, 8 moves up, 2 moves down | blank: 11 no, 6 at times, 3 always
clipped-input | node | 14 | answer: 11 far less, 2 none, 1 less | zero: 12 right, 1 far low, 1 low | share:
  14 another | scatter: 12 wild, 2 none | rough: 12 smooth, 2 dead still | codes: 12 all, 2 one code |
  cells: 12 all, 1 one's node, 1 one | alike: 12 less, 1 not | sum: 14 less | zero sum: 12 right, 2 low
clock-drift | node | 14 | clock: 6 slow, 6 fast, 2 right | nodes: 12 one, 2 none
clock-error | node | 14 | clock: 6 right, 6 fast, 2 slow | nodes: 8 one, 6 none
flat-battery | node | 20 | flow: 15 never flowed, 3 lost for good, 2 began anew | refusal: 15 nobody there,
  5 none | silences: 4 several, 1 one | nodes: 20 one | blank: 15 always, 5 at times
frozen-channel | node | 14 | answer: 14 none | share: 14 another | rough: 14 dead still | codes: 14 one code
  | cells: 14 one | sum: 14 less
hot-box | node | 14 | answer: 8 as due, 4 a little less, 2 a little more | zero: 7 a little high, 5 a little
  low, 1 high, 1 low | share: 14 another | cells: 8 all, 5 one's node, 1 one | alike: 7 not, 4 less, 2 more
  | sum: 8 right, 4 less, 2 more | zero sum: 8 high, 6 low
low-supply | node | 20 | flow: 20 never flowed | refusal: 20 nobody there | nodes: 20 one | blank: 20 always
mains-pickup | node | 14 | answer: 13 as due, 1 a little more | scatter: 13 none, 1 some | loop: 13 none, 1
  more when falling | return: 12 comes back, 2 to and fro | late: 11 none, 2 goes on, 1 falls back | jumps:
  12 none, 2 jumps | rough: 10 very rough, 2 smooth, 2 rough | line: 12 strong line, 2 line | cells: 10 all,
  3 one, 1 one's node | alike: 10 not, 1 more | blank: 14 always
missing-channel | node | 14 | marks: 14 open | cells: 14 one | blank: 14 always
noisy | node | 20 | answer: 10 a little more, 7 as due, 2 a little less, 1 more | zero: 7 right, 6 a little
  high, 5 a little low, 1 high, 1 as its answer | share: 14 as due, 6 another | scatter: 14 some, 5 none, 1
  wild | loop: 8 less when falling, 6 none, 6 more when falling | return: 9 to and fro, 4 steps down, 3
  comes back, 2 steps up, 1 moves down, 1 moves up | late: 10 goes on, 5 falls back, 5 none | swings: 11
  swings on, 9 soon still | rough: 20 very rough | cells: 13 all, 5 one, 2 one's node | alike: 14 not, 1
  more | sum: 12 more, 6 right, 2 less | zero sum: 16 right, 3 low, 1 high | sum returns: 9 moves down, 7
  comes back, 4 moves up | signs differ: 14 no, 1 yes | blank: 20 always
offset-drift | node | 14 | zero: 6 right, 3 high, 3 low, 1 a little low, 1 a little high | share: 13
  another, 1 as due | return: 7 comes back, 4 moves up, 2 moves down, 1 steps up | cells: 7 one's node, 7
  all | zero sum: 5 right, 5 high, 4 low | sum returns: 7 comes back, 5 moves up, 2 moves down
other-fingerprint | node | 14 | flow: 14 lost for good | refusal: 14 calibration fingerprint changed |
  nodes: 14 one | blank: 13 at times, 1 always
other-key | node | 14 | flow: 10 never flowed, 2 began anew, 2 lost for good | refusal: 10 wrong key, 4 none
  | silences: 2 one, 2 none | nodes: 14 one | blank: 10 always, 4 at times
power-loss | node | 14 | flow: 8 never flowed, 4 lost for good, 2 began anew | refusal: 8 nobody there, 6
  none | silences: 4 none, 2 one | nodes: 14 one | blank: 8 always, 6 at times
reference-drift | node | 20 | answer: 13 a little more, 7 a little less | zero: 19 right, 1 as its answer |
  share: 18 another, 2 as due | scatter: 18 none, 2 some | loop: 18 none, 1 less when falling, 1 more when
  falling | return: 17 comes back, 2 moves down, 1 moves up | cells: 10 all, 5 one, 4 one's node, 1 several
  | alike: 9 more, 5 less, 1 not | sum: 13 more, 7 less | zero sum: 17 right, 2 high, 1 low | sum returns:
  19 comes back, 1 moves up
slow-sequence | node | 14 |
stuck-code | node | 14 | answer: 11 none, 1 more, 1 less, 1 far less | zero: 11 as its answer, 2 low, 1 a
  little low | share: 11 none, 3 another | scatter: 11 none, 2 wild, 1 some | loop: 12 none, 2 more when
  falling | late: 13 none, 1 falls back | jumps: 12 none, 1 jumps, 1 far jumps | rough: 14 dead still |
  codes: 11 one code, 3 very coarse | cells: 7 all, 6 one's node, 1 one | alike: 11 less, 2 not | sum: 13
  less, 1 more | zero sum: 14 low | blank: 8 no, 3 at times, 3 always
wrong-strap | node | 14 | flow: 14 never flowed | refusal: 14 nobody there | nodes: 14 one | blank: 14
  always
congestion | node | 14 | answer: 8 as due, 5 less | zero: 8 right, 2 a little high, 2 high, 1 a little low |
  share: 8 as due, 5 another | scatter: 8 none, 3 some, 2 wild | loop: 9 none, 4 less when falling | return:
  8 comes back, 5 to and fro | late: 8 none, 5 falls back | jumps: 12 none, 1 jumps | rough: 8 smooth, 5
  very rough | flow: 13 flows, 1 never flowed | refusal: 13 none, 1 nobody there | lateness: 9 late, 3 very
  late, 1 prompt | unevenness: 6 uneven, 4 very uneven, 3 even | trips: 7 long, 6 very long | cells: 9 none,
  4 all, 1 one's node | nodes: 14 one | alike: 6 not, 5 less | sum: 8 right, 5 less | zero sum: 9 right, 4
  high | sum returns: 9 comes back, 4 moves down | blank: 10 no, 4 always
fading | node | 14 | flow: 8 flows, 6 taken up again | losses: 7 many, 7 some | runs: 10 in bursts, 4 single
  | silences: 8 none, 5 several, 1 one | echoes: 7 some missing, 7 answered | nodes: 14 one | blank: 9 no, 5
  at times
interference | node | 14 | flow: 12 flows, 1 lost for good, 1 never flowed | refusal: 12 none, 1 link too
  poor, 1 nobody there | losses: 9 many, 4 some | runs: 13 single | echoes: 8 some missing, 3 answered, 1
  most missing | nodes: 14 one | blank: 12 no, 2 always
line-noise | node | 14 | losses: 10 many, 4 some | runs: 14 single | echoes: 13 answered, 1 some missing |
  nodes: 14 one | broken: 13 many, 1 some
old-frames | node | 14 | refused: 7 some, 7 many | nodes: 14 one
outage | node | 14 | flow: 8 never flowed, 3 taken up again, 3 lost for good | refusal: 8 nobody there, 6
  none | silences: 3 one, 3 none | nodes: 14 one | blank: 8 always, 5 at times, 1 no
overtaking-route | node | 14 | answer: 13 as due, 1 a little less | scatter: 13 none, 1 some | loop: 13
  none, 1 less when falling | late: 13 none, 1 goes on | losses: 10 some, 2 many, 2 none | runs: 12 single,
  2 none | refused: 8 some, 5 many, 1 hardly any | overtaken: 8 hardly any, 6 often | lateness: 12 prompt, 2
  late | unevenness: 8 even, 4 uneven, 2 very uneven | trips: 11 short, 2 long, 1 very long | cells: 13
  none, 1 one | nodes: 14 one
repeating-bridge | node | 14 | refused: 13 many, 1 some | nodes: 14 one
thin-line | node | 14 | answer: 7 far less, 4 as due, 2 the wrong way, 1 less | share: 10 another, 4 as due
  | scatter: 9 wild, 3 none, 2 some | loop: 8 more when falling, 3 none, 1 less when falling | return: 5
  steps up, 4 comes back, 2 to and fro, 2 moves up | late: 9 goes on, 3 none, 2 falls back | jumps: 10 none,
  4 jumps | swings: 4 soon still, 2 swings on | rough: 6 very rough, 6 smooth, 2 rough | losses: 11 many, 3
  none | runs: 8 in bursts, 3 single, 3 none | refused: 11 many, 3 hardly any | silences: 9 several, 4 none,
  1 one | lateness: 8 very late, 5 prompt, 1 late | unevenness: 11 very uneven, 3 even | trips: 11 very
  long, 2 long, 1 short | echoes: 10 most missing, 3 answered, 1 some missing | clock: 8 right, 2 slow |
  cells: 6 all, 5 one's node, 3 none | nodes: 13 one, 1 none | alike: 12 not, 2 less | sum: 10 less, 3
  right, 1 more | sum returns: 8 moves up, 6 comes back | held: 3 no, 1 yes | blank: 11 always, 3 no
broken-seal | node | 14 | flow: 14 never flowed | refusal: 14 calibration fingerprint changed | nodes: 14
  one | blank: 14 always
exchanged-cells | pair | 14 | answer: 7 far less, 6 less, 1 far more | zero: 13 right, 1 far high | share:
  13 as due, 1 another | scatter: 14 wild | cells: 14 several | signs differ: 13 no, 1 yes | exchanged: 14
  two
held-weight | host | 14 | held: 14 yes
old-zero | cell | 14 | zero: 6 high, 3 low, 2 far high, 2 far low, 1 a little low | share: 13 another, 1 as
  due | cells: 14 one | zero sum: 8 high, 6 low | held: 11 no, 1 yes | blank: 10 no, 2 always, 2 at times
short-patience | host | 13 |
slow-averaging | host | 14 | shown late: 7 yes, 6 no | blank: 13 no, 1 always
wrong-coefficient | cell | 14 | answer: 6 more, 4 a little less, 2 less, 2 a little more | share: 14 another
  | cells: 14 one | sum: 8 more, 6 less
wrong-interval | host | 14 | steps: 14 wide
wrong-network | host | 14 | flow: 14 never flowed | refusal: 14 wrong network | nodes: 9 all, 5 one | blank:
  14 always
"""

KNOWN: dict[str, Known] = read_table(TABLE)
