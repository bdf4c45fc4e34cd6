"""`planner serve` as it is run: from an empty folder, with an account made from the command line."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from visits import PASSWORD

Command = list[str]
PLANNER: Command = [sys.executable, "-m", "planner"]


@pytest.fixture
def environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name != "PLANNER_DATABASE_URL"}


@pytest.fixture
def served(tmp_path: Path, environment: dict[str, str]) -> Iterator[str]:
    add = ["people", "add", "trainee-3", "--name", "T Three", "--role", "trainee", "--password-stdin"]
    subprocess.run([*PLANNER, *add], cwd=tmp_path, env=environment, input=PASSWORD, text=True, check=True)
    serve = [*PLANNER, "serve", "--port", "0"]
    with subprocess.Popen(serve, cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        line = process.stderr.readline()
        found = re.search(r"http://\S+(?=/ )", line)
        assert found, line
        yield found[0]
        process.terminate()
        process.wait(20)


def test_from_an_account_to_the_cases(served: str) -> None:
    with httpx.Client(base_url=served, follow_redirects=True, timeout=60) as visit:
        page = visit.get("/")
        token = re.search(r'name="token" value="([^"]+)"', page.text)
        assert page.url.path == "/sign-in" and token
        sent = {"token": token[1], "code": "trainee-3", "password": PASSWORD, "next": "/cases"}
        assert "You have prepared no case yet" in visit.post("/sign-in", data=sent).text
        assert "server" not in page.headers


def test_a_place_that_is_taken_is_one_clear_error(tmp_path: Path, environment: dict[str, str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        ended = subprocess.run(
            [*PLANNER, "serve", "--port", port], cwd=tmp_path, env=environment, capture_output=True, text=True
        )
    assert ended.returncode == 1 and "Traceback" not in ended.stderr
    assert ended.stderr.startswith(f"error: 127.0.0.1 port {port}: cannot listen: Address already in use; try:")


def test_a_server_without_accounts_says_how_to_make_one(tmp_path: Path, environment: dict[str, str]) -> None:
    serve = [*PLANNER, "serve", "--port", "0"]
    with subprocess.Popen(serve, cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        assert "planner people add CODE" in process.stderr.readline()
        process.terminate()
        process.wait(20)
