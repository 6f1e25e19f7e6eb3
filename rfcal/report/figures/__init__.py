"""Figures, each drawn into axes that it is given."""
