"""The verbs of the trade: calibrate, correct, say how sure."""
