"""The page on a log, on this machine only: `python app.py [LOG]`; without LOG, the sample."""

import sys
from pathlib import Path

from tracelens.cli.main import main

SAMPLE = Path(__file__).parent / "sample_traces" / "knitting_inversion.csv"

sys.exit(main(["serve", *(sys.argv[1:] or [str(SAMPLE)])]))
