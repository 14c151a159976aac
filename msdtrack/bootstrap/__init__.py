"""Sets up a checkout where only Python itself is there: standard library, nothing of msdtrack.

Old Pythons read this file and `python_version`: ASCII only.
"""
