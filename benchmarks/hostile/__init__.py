"""Inputs that are damaged, forged or absurd, tried on every command, and what becomes of them.

``python -m benchmarks.hostile``

`material` makes whole inputs; `mutate` and `fields` spoil them; a kind in `kinds` makes a `Trial`
of it: files in a folder and a command line. `child` runs the program on it in a process of its own,
`judge` says how it ended, `table` counts. A trial depends on seed, kind and number alone, so that
each one can be repeated by itself.
"""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    # Threads do not outlive a fork, and processor time is measured on one core.
    os.environ.setdefault(_name, "1")
