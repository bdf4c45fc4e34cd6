"""A backup restores into either kind of database, whole or not at all."""

from __future__ import annotations

import gzip
import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from invented_unit import document, plan, seen

from planner.errors import PlannerError
from planner.records.database import engine_of
from planner.records.store import Store
from planner.records.submissions import _ask as ask


def saved(store: Store) -> io.BytesIO:
    stream = io.BytesIO()
    assert store.backup(stream) > 0
    return stream


def exported(store: Store, folder: Path) -> dict[str, bytes]:
    store.export(folder)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_restored_it_verifies_and_exports_the_same(story: Store, new_url: Callable[[], str], tmp_path: Path) -> None:
    """`story` and `new_url` each run through both kinds: from and into every pair."""
    url = new_url()
    before = story.verify()
    assert Store.restore(url, saved(story)) == before
    restored = Store.open(url)
    assert restored.verify(before.head) == before
    assert exported(restored, tmp_path / "restored") == exported(story, tmp_path / "first")
    assert restored.password_hash("trainee-3") == story.password_hash("trainee-3")
    # And it goes on from there.
    case = restored.find_case("A-104", "right")
    assert case is not None
    restored.save_case(case.id, restored.version(case.id).number, {"inr": 2}, "trainee-3", seen=seen(restored, case.id))
    restored.new_case(document("A-105"), "trainee-3")
    assert restored.verify(before.head).entries > before.entries
    with pytest.raises(PlannerError, match="holds something already"):
        Store.restore(url, saved(story))
    restored.close()


def test_more_rows_than_are_entered_at_once(store: Store, tmp_path: Path) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    with store._changing("trainee-3") as change:
        # One transaction, so that the test is not five hundred of them; the rows are what `ask` enters.
        for number in range(1100):
            ask(change, case, 1, f"question {number}")
    url = f"sqlite:///{tmp_path / 'restored.db'}"
    assert Store.restore(url, saved(store)) == store.verify()
    assert len(Store.open(url).questions(case)) == 1100


def test_the_same_store_gives_the_same_bytes(story: Store) -> None:
    assert saved(story).getvalue() == saved(story).getvalue()


def test_sessions_are_not_in_it(story: Store) -> None:
    story.start_sign_in("f" * 64, "trainee-3", "secret-of-the-form")
    assert b"secret-of-the-form" not in gzip.decompress(saved(story).getvalue())


@pytest.mark.parametrize("damage", ["cut", "flipped", "row", "tail", "empty", "text", "other"])
def test_a_damaged_backup_is_refused_and_nothing_is_restored(store: Store, tmp_path: Path, damage: str) -> None:
    store.new_case(document(), "trainee-3")
    content = saved(store).getvalue()
    lines = gzip.decompress(content).splitlines(keepends=True)
    broken = {
        "cut": content[: len(content) // 2],
        "flipped": content[:100] + bytes([content[100] ^ 255]) + content[101:],
        "row": gzip.compress(b"".join(line.replace(b"P-0381", b"P-0382") for line in lines)),
        "tail": gzip.compress(b"".join(lines[:-1])),
        "empty": b"",
        "text": b"what I did on Monday",
        "other": gzip.compress(b'{"format":"another"}\n'),
    }[damage]
    target = tmp_path / "target.db"
    with pytest.raises(PlannerError, match=r"damaged|not a backup"):
        Store.restore(str(target), io.BytesIO(broken), "x.backup")
    assert Store.open(str(target)).verify().entries == 0


def test_a_backup_of_a_newer_version_is_refused(store: Store, tmp_path: Path) -> None:
    import hashlib

    header = json.dumps({"format": "planner-backup-1", "program": "99", "tables": "9999"}).encode() + b"\n"
    tail = json.dumps({"rows": 0, "sha256": hashlib.sha256(header).hexdigest()}).encode()
    with pytest.raises(PlannerError, match="made by a newer version"):
        Store.restore(str(tmp_path / "x.db"), io.BytesIO(gzip.compress(header + tail + b"\n")), "x.backup")


def test_a_backup_is_of_one_moment(story: Store) -> None:
    """What another enters while it is written is not in it, and is not kept waiting."""
    held = story.verify()

    class Slow(io.BytesIO):
        entered = False

        def write(self, content: object) -> int:  # type: ignore[override]
            if not self.entered:
                self.entered = True
                story.new_case(document("A-777"), "trainee-3")
            return super().write(content)  # type: ignore[arg-type]

    stream = Slow()
    story.backup(stream)
    assert stream.entered and story.verify().entries > held.entries
    lines = [json.loads(line) for line in gzip.decompress(stream.getvalue()).splitlines()]
    assert max(line["row"]["sequence"] for line in lines if line.get("table") == "trail") == held.entries


def test_a_tampered_store_is_saved_and_said_to_be(story: Store, tmp_path: Path) -> None:
    from sqlalchemy import text

    with engine_of(story._database).begin() as connection:
        connection.execute(text("UPDATE passwords SET hash = 'another'"))
    url = str(tmp_path / "x.db")
    with pytest.raises(PlannerError, match="passwords trainee-3: was changed"):
        Store.restore(url, saved(story))
    assert Store.open(url).cases(operated=True), "what is left is still theirs to have"


def test_a_snapshots_text_comes_back_letter_for_letter(store: Store, tmp_path: Path) -> None:
    version = store.new_case(document(), "trainee-3")
    odd = plan() | {"title": 'μm ≥ 2½ "quoted" \\ back\nline \u2028 \U0001f441', "number": 0.1 + 0.2}
    kept = store.keep_snapshot(version.case_id, 1, odd, "trainee-3")
    url = str(tmp_path / "x.db")
    Store.restore(url, saved(store))
    assert Store.open(url).snapshot(kept.id).assessment == odd
