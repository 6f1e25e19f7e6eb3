"""Simulated sessions, honest and with one mistake each: is it harmful, is it found, is it named.

Run: ``python -m tests.benchmarks.campaign`` (``--help`` says what may be asked). The physics here
is its own; of rfcal only the reading of records and the words of findings are under test. A session
is harmful that leaves out a truth which its honest twin, of the same draws, holds; found, if it is
refused or warned of and the twin is not; named, if one sentence has the mistake, or the artefact at
fault, beside two others at most.

What came out, in per cent of the harmful sessions of all seeds together, each kind counted alike,
with what chance leaves of it (k = 1); without a trace are such as a device that was read in another
session. Of a single seed some kinds have one harmful session, which then counts as much as 25.

========================= ======== ========== ===== =========================
sessions                  of each  found      named of those that leave a trace
========================= ======== ========== ===== =========================
protocol, seeds 1 3 4 5   25       91.8 ± 2.0 88.8  95.2 ± 2.1 found
protocol, seeds 11 to 14  11       90.6 ± 1.5 87.6  94.7 ± 1.5 found
protocol, seeds 201-204   15       90.4 ± 2.3 86.8  93.6 ± 2.3 found
a mixture, seed 1         25       77.8       71.2  81.8 found
a mixture, seeds 11 12    7 and 9  76.8 ± 2.0 70.5  80.5 ± 2.1 found
a mixture, seeds 201 202  8        74.2 ± 2.3 69.2  79.0 ± 2.6 found
seed 1 before all of it   25       69         32    73   found
========================= ======== ========== ===== =========================

Each session counted alike, 96.0 of those of seeds 11 to 14 that leave a trace are found, and 96.7
of those of 201 to 204, where another plane did harm in 4 sessions alone, of which 1 was found: the
other kinds have 93.1 found. Honest ones raised a false alarm in 5 of 2400 with the protocol (seeds
1 3 4 5), in 1 of 360 (11 to 14) and in 2 of 900 (201 to 204). Their intervals of 95 % held R in 94
to 99 % and X in 93 to 98 %.
"""
