"""`planner serve`: the records in a browser."""

import os
import socket
from pathlib import Path
from typing import Annotated

import typer

from planner.cli.options import RulesOption, UnitOption, desk_in, option
from planner.errors import PlannerError

LOOPBACK = ("127.0.0.1", "::1", "localhost")
# Seconds that an idle connection is kept. Longer than a pause in filling in a form, so that a save seldom meets one
# that is being closed, and than the minute that proxies keep theirs.
KEPT_OPEN = 75


def serve(
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Where to listen; 0 takes a free port.")] = 8000,
    host: Annotated[str, typer.Option("--host", help="Address to listen on.")] = "127.0.0.1",
    unit: UnitOption = None,
    sessions: Annotated[Path | None, option("--sessions", "FILE", "The unit's sessions: judges lists.")] = None,
    rules: RulesOption = None,
    print_processes: Annotated[
        int | None,
        option(
            "--print-processes",
            "N",
            "Prints made at once. [default: one fewer than there are processors]",
            min=1,
            max=64,
        ),
    ] = None,
    behind_https: Annotated[
        bool, option("--behind-https", None, "A proxy on this machine speaks https to the browsers.")
    ] = False,
) -> None:
    """Serve the records to browsers until interrupted.

    The store is that of PLANNER_DATABASE_URL, else planner.db in the working folder. The first account is made with
    `planner people add`. Away from this machine browsers keep nobody signed in without https: put a proxy that speaks
    it in front, and say so with --behind-https.

    Example: planner serve --port 8000 --unit unit.yaml --sessions sessions.yaml
    """
    import uvicorn
    from starlette.concurrency import run_in_threadpool

    from planner.documents.printing.queue import PrintQueue
    from planner.web.server.app import make_app
    from planner.web.server.settings import Settings

    # Before anything is opened, so that a wrong one leaves nothing behind.
    settings = Settings(secure_cookies=behind_https or host not in LOOPBACK)
    desk, prints = desk_in(rules, unit, sessions, create=True), PrintQueue(print_processes)
    store = desk.store

    class Server(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            # First, or whoever waits for a print would be waited for in turn.
            await run_in_threadpool(prints.end)
            await super().shutdown(sockets)

    try:
        app = make_app(desk, settings, prints=prints)
        door = _listening(host, port)
        if not store.people(active_only=True):
            typer.echo("Nobody has an account yet: planner people add CODE --name NAME --role ROLE", err=True)
        address = f"[{host}]" if ":" in host else host
        typer.echo(f"Serving {store.name} on http://{address}:{door.getsockname()[1]}/ until interrupted.", err=True)
        if store.roster_mark():
            said = f"{sessions} is not asked: the" if sessions else "The"
            unless = "" if desk.unit else ", once --unit is given"
            typer.echo(f"{said} roster in {store.name} is in force{unless}.", err=True)
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, timeout_keep_alive=KEPT_OPEN,
            proxy_headers=behind_https, forwarded_allow_ips="127.0.0.1",
        )  # fmt: skip
        Server(config).run(sockets=[door])
    finally:
        prints.end()
        store.close()


def _listening(host: str, port: int) -> socket.socket:
    """A socket that listens there. Raises PlannerError where it is taken, forbidden or not of this machine."""

    try:
        family, _, _, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        return socket.create_server(place[:2], family=family)
    except OSError as error:
        hint = "another --port, or an address of this machine with --host"
        # Python adds the address to the system's words; it stands in front of them already.
        reason = os.strerror(error.errno) if error.errno and error.errno > 0 else error.strerror
        raise PlannerError.one(f"cannot listen: {reason}", f"{host} port {port}", hint=hint) from None
