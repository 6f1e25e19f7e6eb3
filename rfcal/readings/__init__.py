"""What instruments give: sweeps from Touchstone, CSV and numbers typed off a display."""
