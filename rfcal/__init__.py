"""Corrected impedance, and how sure it is, from raw one-port readings."""
