"""What people see: figures, sliders, the report page and the command line.

Nothing is imported here, so that a session which draws nothing pays for no drawing library.
"""
