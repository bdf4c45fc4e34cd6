"""Run as a process of its own: forks a server for each database URL it reads, and prints the child's id and port.

Reading the rulebook takes longer than all else that a server does before it answers, so it is read once.
"""

from __future__ import annotations

import os
import signal
import socket
import sys

import uvicorn
from visits import CHEAP

from planner.assess.assess import assess
from planner.case import read_case
from planner.desk.desk import Desk
from planner.plan.make import make_plan
from planner.records.store import Store
from planner.rulebook.load import shipped
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.presenting import environment
from planner.web.server.settings import Settings


def main() -> None:
    rulebook = shipped()
    # What the first pages of a server wait for.
    case = read_case({"case": "A-1", "eye": "left"}, rulebook.vocabulary)
    make_plan(assess(case, rulebook, None, None), rulebook, None)
    for name in environment().list_templates(["html"]):
        environment().get_template(name)
    # Nobody waits for the children, which are killed.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        door = socket.create_server(("127.0.0.1", 0))
        child = os.fork()
        if child == 0:
            sys.stdin.close()
            store, settings = Store.open(line.strip()), Settings(secure_cookies=False)
            app = make_app(Desk(store, rulebook, None), settings, Passwords(CHEAP))
            uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False)).run(sockets=[door])
            os._exit(0)
        print(child, door.getsockname()[1], flush=True)
        door.close()


if __name__ == "__main__":
    main()
