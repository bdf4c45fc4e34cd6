"""People, roles, passwords and sessions."""

from __future__ import annotations

import datetime

import pytest

from planner.errors import PlannerError
from planner.records.database import engine_of
from planner.records.password_hashing import LEAST_CHARACTERS, matches, new_hash
from planner.records.rows import SignIn
from planner.records.store import Store


def test_each_change_is_kept(store: Store) -> None:
    first = store.person("trainee-3")
    second = store.change_person("trainee-3", "admin-1", role="consultant", name="Invented T")
    third = store.change_person("trainee-3", "admin-1", active=False)
    assert (first.role, second.role, third.role) == ("trainee", "consultant", "consultant")
    assert (first.number, third.number, third.trainee_id, third.active) == (1, 3, "trainee-3", False)
    assert store.person("trainee-3") == third
    entry = store.trail()[-1]
    assert entry.before is not None and entry.after is not None
    assert (entry.before["active"], entry.after["active"]) == (1, 0)
    assert [person.code for person in store.people()] == sorted(person.code for person in store.people())
    assert "trainee-3" not in [person.code for person in store.people(active_only=True)]


@pytest.mark.parametrize(
    ("code", "name", "role", "said"),
    [
        ("trainee-3", "T", "trainee", "is in use"),
        ("Trainee 9", "T", "trainee", "cannot be a code"),
        ("", "T", "trainee", "cannot be a code"),
        ("command-line", "T", "trainee", "cannot be a code"),
        ("server", "T", "trainee", "cannot be a code"),
        ("x" * 41, "T", "trainee", "cannot be a code"),
        ("t-9", " ", "trainee", "one line"),
        ("t-9", "a\nb", "trainee", "one line"),
        ("t-9", "T", "surgeon", "not a role"),
    ],
)
def test_who_cannot_be_added(store: Store, code: str, name: str, role: str, said: str) -> None:
    before = store.people()
    with pytest.raises(PlannerError, match=said):
        store.add_person(code, name, role, "admin-1")
    assert store.people() == before


@pytest.mark.parametrize("by", ["trainee-3", "consultant-1", "organiser-1", "nobody"])
def test_only_an_administrator_changes_people(store: Store, by: str) -> None:
    with pytest.raises(PlannerError):
        store.add_person("t-9", "T", "trainee", by)
    with pytest.raises(PlannerError):
        store.change_person("trainee-5", by, role="administrator")
    with pytest.raises(PlannerError):
        store.set_password_hash("trainee-5", "hash", by)


def test_a_password_is_ones_own_to_set_and_signs_out_everywhere(store: Store) -> None:
    store.set_password_hash("trainee-3", "first", "admin-1")
    store.start_sign_in("a" * 64, "trainee-3", "s")
    store.start_sign_in("b" * 64, "trainee-5", "s")
    store.set_password_hash("trainee-3", "second", "trainee-3")
    assert store.password_hash("trainee-3") == "second"
    assert store.session("a" * 64) is None and store.session("b" * 64) is not None
    assert store.password_hash("trainee-5") is None and store.password_hash("nobody") is None
    store.verify()


def test_who_is_inactive_is_signed_out_and_has_no_password(store: Store) -> None:
    store.set_password_hash("trainee-3", "first", "admin-1")
    store.start_sign_in("a" * 64, "trainee-3", "s")
    store.change_person("trainee-3", "admin-1", active=False)
    assert store.session("a" * 64) is None and store.password_hash("trainee-3") is None
    store.change_person("trainee-3", "admin-1", active=True)
    assert store.password_hash("trainee-3") == "first"


def test_sessions_begin_are_used_and_end(store: Store) -> None:
    hours = iter(range(7, 20))
    url = engine_of(store._database).url.render_as_string(hide_password=False)
    clocked = Store.open(url, lambda: datetime.datetime(2026, 11, 2, next(hours), tzinfo=datetime.UTC))
    first = clocked.start_sign_in("a" * 64, "trainee-3", "secret")
    assert first == SignIn("a" * 64, "trainee-3", "secret", *["2026-11-02T07:00:00.000000Z"] * 2)
    clocked.start_sign_in("b" * 64, "trainee-3", "secret")
    clocked.touch_sign_in("a" * 64)
    touched = clocked.session("a" * 64)
    assert touched is not None and touched.seen_at == "2026-11-02T09:00:00.000000Z"
    clocked.end_sign_ins_unused_since("2026-11-02T08:30:00.000000Z")
    assert clocked.session("a" * 64) is not None and clocked.session("b" * 64) is None
    clocked.end_sign_in("a" * 64)
    assert clocked.session("a" * 64) is None
    clocked.close()


def test_failed_sign_ins_are_counted_by_key_and_time(store: Store) -> None:
    for key in ("trainee-3", "trainee-3", "10.0.0.7"):
        store.failed_sign_in(key)
    assert len(store.failed_sign_ins("trainee-3", "2000")) == 2
    assert store.failed_sign_ins("trainee-3", "9999") == ()
    store.forget_failed_sign_ins("trainee-3")
    assert store.failed_sign_ins("trainee-3", "2000") == ()
    assert len(store.failed_sign_ins("10.0.0.7", "2000")) == 1
    store.forget_failed_sign_ins(before="9999")
    assert store.failed_sign_ins("10.0.0.7", "2000") == ()


def test_a_password_is_hashed_by_argon2id_and_checked() -> None:
    hash = new_hash("four words not belonging", "trainee-3")
    # RFC 9106 names the variant; the encoded form carries it.
    assert hash.startswith("$argon2id$v=19$") and "four words" not in hash
    assert new_hash("four words not belonging", "trainee-3") != hash, "salted"
    assert matches(hash, "four words not belonging") and not matches(hash, "four words not belongin")
    assert not matches("no hash", "x")
    composed, decomposed = "caf\u00e9 in four words", "cafe\u0301 in four words"
    assert matches(new_hash(composed, "t"), decomposed)


@pytest.mark.parametrize(
    "password", ["x" * 3, "abcdefghijk", "aaaaaaaaaaaaaaaa", "my trainee-3 pass", "x y" * 600, "abababababababab"]
)
def test_a_password_soon_guessed_is_refused(password: str) -> None:
    assert LEAST_CHARACTERS == 12
    with pytest.raises(PlannerError, match="the password cannot be used") as told:
        new_hash(password, "trainee-3")
    assert password not in str(told.value)
