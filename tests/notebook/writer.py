"""A child process that writes batches into a notebook and says which were taken:  writer.py WHERE NAME N_BATCHES N_FACTS [stall]

It prints the number of a batch once ``add`` came back. With "stall" it stops for good inside the third transaction, after the
rows went in and just before they are kept, and says so. On an error it prints the message and ends with the error's exit code.
"""

from __future__ import annotations

import sys
import time
import uuid
from typing import Any

from sqlalchemy import Engine, event

from kerfwright.core.errors import KerfwrightError
from kerfwright.notebook.fact import Fact, Kind, new_fact
from kerfwright.notebook.notebook import open_notebook

SHOP = uuid.UUID("6b657266-0000-4000-8000-000000000001")


def batch(name: str, number: int, n_facts: int) -> list[Fact]:
    """The facts of one batch, with the same ids whenever it is made."""
    return [new_fact(Kind.READING, f"{name}-{number}", "reading-1", f'{{"value_um": {each}, "words": "{"kerf " * 40}"}}',
                     id=str(uuid.uuid5(SHOP, f"{name} {number} {each}"))) for each in range(n_facts)]


def main(where: str, name: str, n_batches: str, n_facts: str, *how: str) -> int:
    commits = 0

    def stall(_connection: Any) -> None:
        nonlocal commits
        commits += 1
        if commits == 3:
            print("inside", flush=True)
            time.sleep(60)

    try:
        with open_notebook(where) as notebook:
            if how == ("stall",):
                event.listen(Engine, "commit", stall)
            for number in range(int(n_batches)):
                notebook.add(batch(name, number, int(n_facts)))
                print(number, flush=True)
    except KerfwrightError as bad:
        print(bad.message, flush=True)
        return bad.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
