"""Everything that rfcal may say of a record besides the answer: one entry for each, by subject.

Whether it is said is decided in the module of the subject, which calls the entry with the values
that its sentence has places for.
"""
