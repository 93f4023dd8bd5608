"""Club sparring study kit: design, run, analyse and report a small sparring study.

Import the rooms, not this file: ``from analysis.study import Study``. Nothing here needs more than the
standard library, so that ``python3 -m analysis setup`` works before anything is installed.
"""

__version__ = "0.1.0"
