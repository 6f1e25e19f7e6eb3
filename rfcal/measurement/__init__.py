"""Error terms, planes, the instrument's own doubt, and the one model of a measurement."""
