"""Figures by subject, and what draws one thing into axes that it is given."""
