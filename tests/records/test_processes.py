"""Several processes at once, processes killed while they write, and a disk that is full."""

from __future__ import annotations

import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from invented_unit import document, people
from seeds import draws
from sqlalchemy import event

from planner.errors import PlannerError
from planner.records.database import StoreUnavailableError, engine_of
from planner.records.store import Store

ROOT = Path(__file__).parents[2]
WRITER = Path(__file__).with_name("writer.py")
KILLS = draws(3, 40)


def start(*arguments: object, **options: Any) -> subprocess.Popen[str]:
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, *map(str, arguments)]
    pipes: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen(command, env=environment, **(pipes | options))


def url_of(store: Store) -> str:
    return engine_of(store._database).url.render_as_string(hide_password=False)


def test_two_processes_saving_at_once_lose_nothing(store: Store) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    each = 25
    store.hand_over(case, "trainee-3", "trainee-5", "trainee-3")
    writers = [start(WRITER, url_of(store), case, person, each) for person in ("trainee-3", "trainee-5")]
    told = [writer.communicate(timeout=120) for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0], told
    acknowledged = sorted(int(number) for out, _ in told for number in out.split())
    assert acknowledged == list(range(2, 2 * each + 2)), "each save has a version of its own"
    assert [version.number for version in store.versions(case)] == list(range(1, 2 * each + 2))
    assert {version.by for version in store.versions(case)} == {"trainee-3", "trainee-5"}
    store.verify()


def test_threads_share_one_store(store: Store) -> None:
    """As the server does: more threads than connections, readers among the writers."""

    def work(number: int) -> int:
        case = store.new_case(document(f"A-{number}"), "trainee-3").case_id
        for version in range(1, 4):
            store.save_case(case, version, {"iop_mmhg": 20 + version}, "trainee-3")
            assert store.case_now(case).version.number == version + 1
        return case

    with ThreadPoolExecutor(24) as pool:
        cases = list(pool.map(work, range(24)))
    assert sorted(cases) == list(range(1, 25))
    assert [now.version.number for now in store.cases()] == [4] * 24
    store.verify()


def test_two_processes_open_an_empty_database_at_once(new_url: Callable[[], str]) -> None:
    url = new_url()
    ask = f"from planner.records.store import Store; print(Store.open({url!r}).verify().entries)"
    both = [start("-c", ask) for _ in range(3)]
    told = [one.communicate(timeout=120) for one in both]
    assert [out.strip() for out, _ in told] == ["0", "0", "0"], told


@pytest.mark.long
def test_a_killed_writer_loses_nothing_it_acknowledged(store: Store) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    chance = random.Random(5)
    for _ in range(KILLS):
        writer = start(WRITER, url_of(store), case, "trainee-3", 100_000)
        assert writer.stdout is not None
        first = writer.stdout.readline()
        assert first, writer.communicate()
        time.sleep(chance.uniform(0, 0.05))
        writer.send_signal(signal.SIGKILL)
        rest, _ = writer.communicate(timeout=60)
        assert writer.returncode == -signal.SIGKILL
        # The last line may have been cut in the middle.
        whole = [line for line in (first + rest).splitlines(keepends=True) if line.endswith("\n")]
        acknowledged = [int(line) for line in whole]
        kept = {version.number: version for version in store.versions(case)}
        assert set(acknowledged) <= set(kept)
        assert sorted(kept) == list(range(1, len(kept) + 1))
        assert all(kept[number].findings["iop_mmhg"] == number - 1 for number in acknowledged)
        store.verify()
    assert len(store.versions(case)) > KILLS


def test_a_full_database_gives_one_clear_error_and_keeps_what_it_has(tmp_path: Path) -> None:
    store = Store.open(str(tmp_path / "planner.db"))
    people(store)
    case = store.new_case(document(), "trainee-3").case_id
    held = store.verify()
    engine = engine_of(store._database)
    engine.dispose()

    @event.listens_for(engine, "connect")
    def limit(connection: Any, _: object) -> None:
        [pages] = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}").close()

    with pytest.raises(StoreUnavailableError, match="the disk, or the database, is full") as told:
        for number in range(1, 200):
            store.save_case(case, number, {"notes": "x" * 2000 + str(number)}, "trainee-3")
    assert "\n" not in str(told.value)
    kept = len(store.versions(case))
    after = store.verify(held.head)
    event.remove(engine, "connect", limit)
    engine.dispose()
    # With room again it goes on where it was.
    assert store.save_case(case, kept, {"iop_mmhg": 12}, "trainee-3").number == kept + 1
    assert store.verify(after.head).entries == after.entries + 1


def test_a_file_system_that_takes_no_more_gives_one_error_message(tmp_path: Path) -> None:
    store = Store.open(str(tmp_path / "planner.db"))
    people(store)
    head = store.verify().head
    store.close()

    def no_larger_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    add = ("-m", "planner", "people", "add", "trainee-8", "--name", "T Eight", "--role", "trainee", "--password-stdin")
    run = start(*add, cwd=tmp_path, stdin=subprocess.PIPE, preexec_fn=no_larger_files)
    out, err = run.communicate("four words not belonging\n", timeout=60)
    assert (run.returncode, out) == (1, "")
    assert err.startswith("error: planner.db: ") and err.count("\n") == 1 and "nothing of this change was kept" in err
    again = Store.open(str(tmp_path / "planner.db"))
    assert again.verify(head).head == head
    with pytest.raises(PlannerError, match="nobody has the code"):
        again.person("trainee-8")
