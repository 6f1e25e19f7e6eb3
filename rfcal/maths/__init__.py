"""Arrays in, arrays out: the algebra of one-port measurement, with numpy alone."""
