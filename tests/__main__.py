"""`python3 tests [--help] [--no-lint] [--require-all] [for pytest]`: set up .venv, run every check.

Old Pythons must be able to read this file: no f-strings, no annotations, ASCII only.
"""

import os
import sys

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))

from msdtrack.bootstrap.python_version import why_too_old

if __name__ == "__main__":
    too_old = why_too_old(sys.version_info)
    if too_old:
        sys.exit(too_old)
    from msdtrack.bootstrap.start import run_tests

    sys.exit(run_tests(sys.argv[1:]))
