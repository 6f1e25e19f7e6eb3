"""What can hurt people in this work (common practice, no source): shown on page and workbook."""

CAUTIONS = (
    "Towers and ladders: climb only trained, tied on all the time, and with a second person; no "
    "work aloft with a storm near. Keep everything that could fall clear of power lines.",
    "Lightning and static: earth a feed line for a moment before you connect an instrument to "
    "it, and disconnect everything when thunder is near.",
    "Never transmit into an analyzer, and keep transmitters nearby off while it is connected.",
    "A feed line radiates when current flows on its outside: choke it before you trust an "
    "antenna's sweep; touching or moving the line must not move the curve.",
    "At power, antennas and matching networks carry voltages that burn and currents that heat; "
    "switch off and make sure before you touch. Keep people away as the exposure limits of your "
    "regulator ask.",
    "These are reminders, not instructions: local codes, the regulator's limits and licensed "
    "practice come first.",
)
