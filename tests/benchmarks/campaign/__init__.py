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
protocol, seeds 401 402   25       92.2 ± 1.5 90.7  95.3 ± 1.6 found
protocol, seeds 403 404   25       93.0 ± 2.1 91.1  96.2 ± 2.2 found
protocol, seeds 431-433   25       92.7 ± 2.1 89.7  96.5 ± 2.2 found
a mixture, seed 405       25       80.9 ± 1.6 73.7  83.2 ± 1.6 found
a mixture, seed 451       25       74.1 ± 1.7 69.1  76.0 ± 1.8 found
seed 1 before all of it   25       69         32    73   found
========================= ======== ========== ===== =========================

None of these seeds was looked at before. Each session counted alike, 96.0, 96.3 and 97.2 of those
with the protocol that leave a trace are found. Honest ones raised a false alarm in 8 of 4200 with
the protocol and in 3 of 1200 of the mixture. Their intervals of 95 % held R in 95.4 to 97.2 %, X
in 95.4 to 95.8 %.
"""
