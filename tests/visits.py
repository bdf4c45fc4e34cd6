"""What the tests of the browser's side share: who there is, a clock to put forward, a browser without scripts."""

from __future__ import annotations

import datetime
import re
from typing import TYPE_CHECKING

from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

if TYPE_CHECKING:
    from playwright.sync_api import Page

PASSWORD = "four words of mine"
PEOPLE = {
    "trainee-3": "trainee",
    "trainee-5": "trainee",
    "consultant-1": "consultant",
    "consultant-2": "consultant",
    "organiser-1": "organiser",
    "administrator-1": "administrator",
}
# Cheap on purpose: what an expensive hash costs is no subject of these tests.
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


def sign_in(page: Page, person: str) -> None:
    """Fills in and sends the form that a real browser shows; whoever asks waits for the page that follows."""
    page.fill("#code", person)
    page.fill("#password", PASSWORD)
    page.keyboard.press("Enter")


class Clock:
    """The present, and as much later as a test says."""

    def __init__(self) -> None:
        self.later = datetime.timedelta()

    def __call__(self) -> datetime.datetime:
        return datetime.datetime.now(datetime.UTC) + self.later

    def forward(self, **by: float) -> None:
        self.later += datetime.timedelta(**by)


class Visit(TestClient):
    """A browser without scripts."""

    def __init__(self, app: FastAPI, host: str = "http://127.0.0.1") -> None:
        super().__init__(app, base_url=host, follow_redirects=False, raise_server_exceptions=False)

    def token(self, address: str = "/cases") -> str:
        found = re.search(r'name="token" value="([^"]+)"', self.get(address).text)
        assert found, f"{address} holds no form"
        return found[1]

    def sign_in(self, code: str, password: str = PASSWORD, next: str = "") -> int:
        token = self.token("/sign-in")
        return self.post(
            "/sign-in", data={"token": token, "code": code, "password": password, "next": next}
        ).status_code
