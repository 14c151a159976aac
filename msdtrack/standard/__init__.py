"""The published tables and rules of J-STD-033, as data files with their provenance.

Pure: no clock, no settings, no environment. `exposure` builds on it.
"""
