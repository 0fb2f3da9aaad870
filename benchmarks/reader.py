"""Read the rendering in this folder, write its record alone: ``python -m benchmarks.reader OUT``.

The stages are those of the program and the record is made by the program's own function, but no
other document is drawn, so that a row of the benchmark costs less. Errors end the process as they
do on the command line: one line on stderr and the error's own exit code.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from rubbing2pattern.cli.shared import options_of, reference_of
from rubbing2pattern.cli.trace import trace
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.output import RECORD_NAME
from rubbing2pattern.record.panel import record_of, record_text
from rubbing2pattern.workflows.pipeline import trace_rubbing


def read_only(out: Path) -> Path:
    """Read the picture in the current folder by its reference; return the path of the record.

    Of ``truth.json`` only the picture's name and the reference are used.

    Parameters
    ----------
    out : folder for the record; made if missing, an old record there is replaced.
    """
    case = json.loads(Path("truth.json").read_text(encoding="utf-8"))
    # The command's own parameters, so that the defaults of the command line hold here too.
    line = [case["image"], *case["reference"], "-o", str(out)]
    given = dict(trace.make_context("trace", line).params)
    reference, options = reference_of(given), options_of(given)
    reading = trace_rubbing(given["image"], reference, options=options)
    out.mkdir(parents=True, exist_ok=True)
    path = out / RECORD_NAME
    path.write_text(record_text(record_of(reading.panel, reading.provenance)), encoding="utf-8")
    return path


def main() -> None:
    """Read into the folder that the command line names."""
    try:
        print(read_only(Path(sys.argv[1])))
    except RubbingError as fault:
        print(f"rubbing2pattern: {fault}", file=sys.stderr)
        sys.exit(fault.exit_code)


if __name__ == "__main__":
    main()
