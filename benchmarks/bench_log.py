"""Kills a writer of the site log 500 times at any moment, with a seed the tests do not use.

python benchmarks/bench_log.py                # 500 kills of a writer to SQLite files
python benchmarks/bench_log.py --postgres     # 50 of one to a PostgreSQL server, started here
"""

from __future__ import annotations

import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from byrewright.site.log.home import Postgres
from tests.site.killed import main
from tests.site.postgres import database, server

TIMES, SEED = 500, 20
SERVED = 50

if __name__ == "__main__":
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, ExitStack() as ended:
        if "--postgres" in sys.argv[1:]:
            address = ended.enter_context(server())
            said = main(SERVED, Path(folder), SEED, lambda: Postgres(database(address)))
        else:
            said = main(TIMES, Path(folder), SEED)
        print(said, f"({time.monotonic() - begun:.0f} s)")
