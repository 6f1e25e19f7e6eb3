"""A session in Python, without a record: read, calibrate, correct, move the plane, save."""
