"""Simulated sessions, honest and with one mistake each: is it harmful, is it found, is it named.

Run: ``python -m tests.benchmarks.campaign`` (``--help`` says what may be asked). The physics here
is its own; of rfcal only the reading of records and the words of findings are under test.
"""
