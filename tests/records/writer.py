"""Run as a process of its own: saves a case again and again, and prints each version once it was acknowledged.

python writer.py URL CASE_ID PERSON TIMES
"""

from __future__ import annotations

import sys

from planner.records.changes import Conflict
from planner.records.store import Store


def main(url: str, case_id: int, person: str, times: int) -> None:
    store = Store.open(url)
    number = store.version(case_id).number
    done = 0
    while done < times:
        try:
            number = store.save_case(
                case_id, number, {"iop_mmhg": number, "examined_by": f"{person}-{done}"}, person
            ).number
        except Conflict as conflict:
            number = conflict.current.number
            continue
        done += 1
        print(number, flush=True)
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3], int(sys.argv[4]))
