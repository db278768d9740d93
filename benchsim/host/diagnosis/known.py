"""How often each fault showed each word of each sign, counted on simulated visits of scales of many kinds.

An entry: name | where its target is | visits | sign: so often this word, so often that one.  A sign that is
not named showed its first word in all visits.  Written by `python -m tests.benchmarks.learn_diagnosis`.
"""

from __future__ import annotations

from benchsim.host.diagnosis.weighing import Known, read_table

TABLE = """
healthy | - | 48 | alike: 42 not, 6 unknown | signs differ: 42 no, 6 unknown
low-support | cell | 12 | answer: 6 more, 4 far less, 2 far more | zero: 9 as its answer, 2 high, 1 a little
  high | scatter: 4 none, 4 wild, 4 some | cells: 9 all, 3 several | signs differ: 12 yes
mud | deck | 12 | answer: 10 as due, 1 a little more, 1 a little less | zero: 6 high, 5 far high, 1 a little
  high | scatter: 11 none, 1 some | loop: 11 none, 1 less when falling | return: 9 comes back, 2 moves up, 1
  steps up | late: 9 none, 2 falls back, 1 goes on | jumps: 9 none, 3 jumps | rough: 10 smooth, 1 very
  rough, 1 rough | cells: 9 all, 3 one | alike: 9 not, 3 unknown | sum: 11 right, 1 less | zero sum: 12 high
  | sum returns: 9 comes back, 3 moves up | signs differ: 9 no, 3 unknown
creep-out-of-class | cell | 12 | answer: 7 a little less, 5 a little more | scatter: 9 none, 3 some | loop:
  9 none, 2 less when falling, 1 more when falling | return: 4 steps up, 3 comes back, 2 steps down, 2 moves
  down, 1 moves up | late: 9 none, 2 falls back, 1 goes on | cells: 12 one | alike: 9 not, 3 unknown | sum:
  7 less, 5 more | sum returns: 7 comes back, 3 moves down, 2 moves up | signs differ: 9 no, 3 unknown
dead-cell | cell | 12 | answer: 12 none | zero: 12 as its answer | cells: 12 one | alike: 10 not, 2 unknown
  | sum: 12 less | zero sum: 12 low | signs differ: 10 no, 2 unknown
drifting-arm | cell | 12 | zero: 6 high, 3 a little low, 1 a little high, 1 low, 1 far high | return: 7
  comes back, 4 moves down, 1 moves up | late: 11 none, 1 goes on | jumps: 10 none, 2 jumps | rough: 11
  smooth, 1 rough | cells: 12 one | alike: 10 not, 2 unknown | zero sum: 8 high, 3 low, 1 right | sum
  returns: 7 comes back, 4 moves down, 1 moves up | signs differ: 10 no, 2 unknown
hysteresis-out-of-class | cell | 12 | answer: 5 a little more, 4 a little less, 2 as due, 1 more | zero: 7
  right, 2 as its answer, 2 a little high, 1 a little low | scatter: 10 some, 2 none | loop: 6 less when
  falling, 5 more when falling, 1 none | return: 4 moves up, 3 steps down, 3 moves down, 2 steps up | cells:
  12 one | alike: 10 not, 2 unknown | sum: 5 more, 4 right, 3 less | zero sum: 11 right, 1 high | sum
  returns: 6 moves down, 5 moves up, 1 comes back | signs differ: 10 no, 2 unknown
open-arm | cell | 12 | marks: 12 stop | answer: 12 unknown | zero: 12 unknown | scatter: 12 unknown | loop:
  12 unknown | return: 12 unknown | late: 12 unknown | jumps: 12 unknown | rough: 12 unknown | line: 12
  unknown | codes: 12 unknown | cells: 12 one | alike: 12 unknown | sum: 12 unknown | zero sum: 12 unknown |
  sum returns: 12 unknown | signs differ: 12 unknown
poor-repeatability | cell | 6 | answer: 3 a little more, 3 a little less | scatter: 6 some | loop: 5 more
  when falling, 1 less when falling | return: 3 comes back, 2 moves down, 1 to and fro | cells: 6 one |
  alike: 6 unknown | sum: 3 less, 2 more, 1 right | signs differ: 6 unknown
span-drift | cell | 12 | answer: 5 a little less, 4 a little more, 3 less | zero: 9 right, 3 as its answer |
  scatter: 10 none, 2 some | loop: 10 none, 1 less when falling, 1 more when falling | return: 8 comes back,
  2 moves down, 1 moves up, 1 steps down | cells: 12 one | alike: 10 not, 2 unknown | sum: 8 less, 4 more |
  zero sum: 11 right, 1 low | sum returns: 11 comes back, 1 moves down | signs differ: 10 no, 2 unknown
weak-spring | cell | 12 | answer: 5 more, 2 less, 2 a little less, 1 far less, 1 far more, 1 a little more |
  zero: 7 right, 2 as its answer, 1 a little low, 1 a little high, 1 high | scatter: 6 wild, 5 some, 1 none
  | loop: 6 none, 5 less when falling, 1 more when falling | return: 6 steps up, 4 moves down, 1 steps down,
  1 moves up | cells: 12 one | alike: 9 not, 3 unknown | sum: 6 right, 5 less, 1 more | zero sum: 9 right, 3
  high | sum returns: 7 moves up, 5 moves down | signs differ: 9 no, 3 unknown
zero-shift | cell | 12 | zero: 4 high, 3 low, 2 far high, 1 far low, 1 a little high, 1 a little low |
  cells: 12 one | alike: 10 not, 2 unknown | zero sum: 7 high, 5 low | signs differ: 10 no, 2 unknown
damp-nights | cell | 12 | answer: 4 a little more, 3 as due, 3 a little less, 1 less, 1 far more | zero: 10
  right, 1 high, 1 a little high | scatter: 6 none, 5 some, 1 wild | loop: 8 none, 2 less when falling, 2
  more when falling | return: 5 moves down, 4 moves up, 2 to and fro, 1 steps up | late: 7 none, 4 goes on,
  1 falls back | jumps: 7 jumps, 5 none | rough: 11 smooth, 1 rough | cells: 12 one | alike: 10 not, 2
  unknown | sum: 7 right, 4 more, 1 less | zero sum: 10 right, 2 high | sum returns: 6 moves up, 5 moves
  down, 1 comes back | signs differ: 10 no, 2 unknown
loose-terminal | cell | 12 | marks: 10 reference at times, 2 open at times | line: 8 none, 4 unknown |
  cells: 12 one | alike: 11 not, 1 unknown | signs differ: 11 no, 1 unknown
lost-sense | cell | 12 | marks: 12 reference | answer: 12 unknown | zero: 12 unknown | scatter: 12 unknown |
  loop: 12 unknown | return: 12 unknown | late: 12 unknown | jumps: 12 unknown | rough: 12 unknown | line:
  12 unknown | codes: 12 unknown | cells: 12 one | alike: 12 unknown | sum: 12 unknown | zero sum: 12
  unknown | sum returns: 12 unknown | signs differ: 12 unknown
open-terminal | cell | 12 | marks: 7 open, 4 reference, 1 good | answer: 11 unknown, 1 none | zero: 11
  unknown, 1 as its answer | scatter: 11 unknown, 1 none | loop: 11 unknown, 1 none | return: 11 unknown, 1
  comes back | late: 11 unknown, 1 none | jumps: 11 unknown, 1 none | rough: 11 unknown, 1 smooth | line: 11
  unknown, 1 none | codes: 11 unknown, 1 all | cells: 12 one | alike: 11 unknown, 1 not | sum: 11 unknown, 1
  less | zero sum: 11 unknown, 1 low | sum returns: 11 unknown, 1 comes back | signs differ: 11 unknown, 1
  no
shorted-terminals | cell | 12 | marks: 9 stop, 3 reference | answer: 12 unknown | zero: 12 unknown |
  scatter: 12 unknown | loop: 12 unknown | return: 12 unknown | late: 12 unknown | jumps: 12 unknown |
  rough: 12 unknown | line: 12 unknown | codes: 12 unknown | cells: 12 one | alike: 12 unknown | sum: 12
  unknown | zero sum: 12 unknown | sum returns: 12 unknown | signs differ: 12 unknown
swapped-excitation | cell | 12 | answer: 12 turned | zero: 12 as its answer | cells: 12 one | alike: 7 not,
  5 unknown | sum: 12 less | zero sum: 12 low | signs differ: 7 no, 5 unknown
swapped-sense | cell | 12 | marks: 12 reference | answer: 12 unknown | zero: 12 unknown | scatter: 12
  unknown | loop: 12 unknown | return: 12 unknown | late: 12 unknown | jumps: 12 unknown | rough: 12 unknown
  | line: 12 unknown | codes: 12 unknown | cells: 12 one | alike: 12 unknown | sum: 12 unknown | zero sum:
  12 unknown | sum returns: 12 unknown | signs differ: 12 unknown
swapped-signal | cell | 12 | answer: 12 turned | zero: 12 as its answer | cells: 12 one | alike: 10 not, 2
  unknown | sum: 12 less | zero sum: 12 low | signs differ: 10 no, 2 unknown
wet-connector | cell | 12 | answer: 8 as due, 2 more, 1 less, 1 a little more | zero: 3 low, 2 high, 2 far
  high, 2 right, 2 a little low, 1 a little high | scatter: 8 none, 3 wild, 1 some | loop: 10 none, 2 less
  when falling | return: 5 comes back, 3 moves up, 2 moves down, 1 steps up, 1 steps down | late: 8 none, 3
  goes on, 1 falls back | jumps: 8 none, 2 far jumps, 2 jumps | rough: 11 smooth, 1 rough | cells: 12 one |
  alike: 11 not, 1 unknown | sum: 10 right, 1 more, 1 less | zero sum: 5 high, 4 low, 3 right | sum returns:
  5 comes back, 4 moves up, 3 moves down | signs differ: 11 no, 1 unknown
clock-error | node | 12 | clock: 6 fast, 4 slow, 2 right | nodes: 10 one, 2 none | alike: 11 not, 1 unknown
  | signs differ: 11 no, 1 unknown
mains-pickup | node | 12 | answer: 11 as due, 1 a little less | return: 10 comes back, 1 moves down, 1 to
  and fro | late: 11 none, 1 falls back | rough: 10 very rough, 2 rough | line: 12 strong line | cells: 7
  all, 4 one's node, 1 one | alike: 11 not, 1 unknown | zero sum: 11 right, 1 low | signs differ: 11 no, 1
  unknown
noisy | node | 12 | answer: 6 as due, 3 a little less, 2 a little more, 1 more | zero: 6 right, 4 a little
  low, 2 a little high | scatter: 8 some, 4 none | loop: 5 less when falling, 4 none, 3 more when falling |
  return: 8 to and fro, 1 steps down, 1 moves up, 1 comes back, 1 steps up | late: 5 goes on, 4 falls back,
  3 none | rough: 12 very rough | cells: 6 all, 4 one's node, 2 one | alike: 10 not, 2 unknown | sum: 7
  right, 3 more, 2 less | zero sum: 8 right, 2 high, 2 low | sum returns: 6 comes back, 5 moves up, 1 moves
  down | signs differ: 9 no, 2 unknown, 1 yes
power-loss | node | 12 | marks: 7 unknown, 5 good | answer: 7 unknown, 5 as due | zero: 7 unknown, 5 right |
  scatter: 8 unknown, 4 none | loop: 8 unknown, 4 none | return: 8 unknown, 4 comes back | late: 8 unknown,
  4 none | jumps: 7 unknown, 5 none | rough: 7 unknown, 5 smooth | line: 7 unknown, 5 none | codes: 7
  unknown, 5 all | flow: 7 never flowed, 4 began anew, 1 lost for good | refusal: 7 nobody there, 5 none |
  losses: 7 unknown, 5 none | runs: 7 unknown, 5 none | silences: 7 unknown, 4 one, 1 none | lateness: 7
  unknown, 5 prompt | unevenness: 7 unknown, 5 even | trips: 7 unknown, 5 short | echoes: 7 unknown, 5
  answered | clock: 8 unknown, 4 right | nodes: 12 one | alike: 9 unknown, 3 not | sum: 7 unknown, 5 right |
  zero sum: 7 unknown, 5 right | sum returns: 7 unknown, 5 comes back | signs differ: 9 unknown, 3 no
reference-drift | node | 12 | answer: 7 a little more, 5 a little less | zero: 7 right, 5 as its answer |
  scatter: 11 none, 1 some | return: 11 comes back, 1 moves up | cells: 9 all, 2 one's node, 1 one | alike:
  5 more, 5 less, 1 not, 1 unknown | sum: 7 more, 5 less | zero sum: 6 right, 3 high, 3 low | sum returns:
  11 comes back, 1 moves up | signs differ: 11 no, 1 unknown
stuck-code | node | 12 | answer: 6 none, 2 less, 2 far less, 2 more | zero: 6 as its answer, 3 far low, 3
  low | scatter: 6 none, 5 wild, 1 some | rough: 12 dead still | line: 9 none, 3 line | codes: 6 one code, 6
  very coarse | cells: 7 one's node, 4 all, 1 one | alike: 8 less, 2 not, 1 unknown, 1 more | sum: 10 less,
  2 more | zero sum: 12 low | signs differ: 11 no, 1 unknown
wrong-strap | node | 12 | marks: 12 unknown | answer: 12 unknown | zero: 12 unknown | scatter: 12 unknown |
  loop: 12 unknown | return: 12 unknown | late: 12 unknown | jumps: 12 unknown | rough: 12 unknown | line:
  12 unknown | codes: 12 unknown | flow: 12 never flowed | refusal: 11 nobody there, 1 two nodes on one
  address | losses: 12 unknown | runs: 12 unknown | silences: 12 unknown | lateness: 12 unknown |
  unevenness: 12 unknown | trips: 12 unknown | echoes: 12 unknown | clock: 12 unknown | nodes: 11 one, 1 all
  | alike: 12 unknown | sum: 12 unknown | zero sum: 12 unknown | sum returns: 12 unknown | signs differ: 12
  unknown
congestion | node | 12 | marks: 8 good, 4 unknown | answer: 7 as due, 4 unknown, 1 less | zero: 7 right, 4
  unknown, 1 a little low | scatter: 7 none, 4 unknown, 1 some | loop: 7 none, 4 unknown, 1 less when
  falling | return: 7 comes back, 4 unknown, 1 to and fro | late: 7 none, 4 unknown, 1 falls back | jumps: 8
  none, 4 unknown | rough: 7 smooth, 4 unknown, 1 very rough | line: 8 none, 4 unknown | codes: 8 all, 4
  unknown | flow: 8 flows, 4 never flowed | refusal: 8 none, 4 nobody there | losses: 8 none, 4 unknown |
  runs: 8 none, 4 unknown | silences: 8 none, 4 unknown | lateness: 5 late, 4 unknown, 3 very late |
  unevenness: 4 unknown, 3 uneven, 3 even, 2 very uneven | trips: 5 very long, 4 unknown, 3 long | echoes: 8
  answered, 4 unknown | clock: 8 right, 4 unknown | cells: 11 none, 1 one's node | nodes: 12 one | alike: 7
  not, 5 unknown | sum: 7 right, 4 unknown, 1 less | zero sum: 8 right, 4 unknown | sum returns: 8 comes
  back, 4 unknown | signs differ: 7 no, 5 unknown
fading | node | 12 | marks: 11 good, 1 unknown | answer: 10 as due, 2 unknown | zero: 11 right, 1 unknown |
  scatter: 10 none, 2 unknown | loop: 10 none, 2 unknown | return: 10 comes back, 2 unknown | late: 10 none,
  2 unknown | jumps: 11 none, 1 unknown | rough: 11 smooth, 1 unknown | line: 10 none, 2 unknown | codes: 11
  all, 1 unknown | flow: 7 flows, 3 taken up again, 1 never flowed, 1 lost for good | refusal: 10 none, 1
  nobody there, 1 link too poor | losses: 6 many, 5 some, 1 unknown | runs: 9 in bursts, 2 single, 1 unknown
  | silences: 10 none, 1 unknown, 1 one | lateness: 11 prompt, 1 unknown | unevenness: 11 even, 1 unknown |
  trips: 11 short, 1 unknown | echoes: 7 answered, 3 some missing, 2 unknown | clock: 10 right, 2 unknown |
  nodes: 12 one | alike: 8 not, 4 unknown | sum: 10 right, 2 unknown | zero sum: 11 right, 1 unknown | sum
  returns: 11 comes back, 1 unknown | signs differ: 9 no, 3 unknown
interference | node | 12 | answer: 10 as due, 2 unknown | scatter: 10 none, 2 unknown | loop: 10 none, 2
  unknown | return: 10 comes back, 2 unknown | late: 10 none, 2 unknown | line: 10 none, 2 unknown | flow:
  10 flows, 2 lost for good | refusal: 10 none, 2 link too poor | losses: 9 many, 3 some | runs: 11 single,
  1 in bursts | trips: 11 short, 1 unknown | echoes: 4 some missing, 3 most missing, 3 answered, 2 unknown |
  clock: 10 right, 2 unknown | nodes: 12 one | alike: 8 not, 4 unknown | sum: 10 right, 2 unknown | signs
  differ: 10 no, 2 unknown
outage | node | 12 | marks: 8 unknown, 4 good | answer: 9 unknown, 3 as due | zero: 8 unknown, 4 right |
  scatter: 10 unknown, 2 none | loop: 11 unknown, 1 none | return: 8 unknown, 4 comes back | late: 8
  unknown, 4 none | jumps: 8 unknown, 4 none | rough: 8 unknown, 4 smooth | line: 8 unknown, 4 none | codes:
  8 unknown, 4 all | flow: 8 never flowed, 3 lost for good, 1 taken up again | refusal: 8 nobody there, 4
  none | losses: 8 unknown, 4 none | runs: 8 unknown, 4 none | silences: 8 unknown, 3 none, 1 one |
  lateness: 8 unknown, 4 prompt | unevenness: 8 unknown, 4 even | trips: 8 unknown, 4 short | echoes: 8
  unknown, 4 answered | clock: 8 unknown, 4 right | nodes: 12 one | alike: 9 unknown, 3 not | sum: 8
  unknown, 4 right | zero sum: 8 unknown, 4 right | sum returns: 8 unknown, 4 comes back | signs differ: 8
  unknown, 4 no
"""

KNOWN: dict[str, Known] = read_table(TABLE)
