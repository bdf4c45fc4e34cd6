"""The roles of people, and who may do what: the records enforce it, and the doors of the pages are made from it."""

from __future__ import annotations

from typing import Literal, get_args

Role = Literal["trainee", "consultant", "organiser", "administrator"]
ROLES: tuple[Role, ...] = get_args(Role)
PREPARERS: tuple[Role, ...] = ("trainee", "consultant")  # of cases
DECIDERS: tuple[Role, ...] = ("consultant",)  # on approvals
BUILDERS: tuple[Role, ...] = ("organiser", "consultant")  # of lists
KEEPERS: tuple[Role, ...] = ("organiser",)  # of the roster
READERS: tuple[Role, ...] = (*PREPARERS, "organiser")  # of cases and lists
# Who acts where no person is signed in: the command line, and the server by itself (an approval that has aged).
COMMAND_LINE = "command-line"
SERVER = "server"
