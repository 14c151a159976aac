"""`python3 demo`: set up .venv, load the demo workshop and serve it.

Options are those of `msdtrack demo`; `python3 demo --help` lists them.
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
    from msdtrack.bootstrap.start import run_demo

    sys.exit(run_demo(sys.argv[1:]))
