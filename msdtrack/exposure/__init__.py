"""Events and readings in; state, working and verdict out.

Pure: no clock, no database, no web. Moments are whole seconds UTC since 1970 (int), temperatures
and humidities are hundredths (int) so that comparisons with table edges are exact, and shares of
the floor life are `fractions.Fraction`, so that no order of adding changes a sum.
"""
