"""`planner serve`: the records in a browser."""

import os
from pathlib import Path
from typing import Annotated

import typer

from planner.cli.options import RulesOption, UnitOption, rulebook_in, unit_in

LOOPBACK = ("127.0.0.1", "::1", "localhost")


def serve(
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port to listen on.")] = 8000,
    host: Annotated[str, typer.Option("--host", help="Address to listen on.")] = "127.0.0.1",
    unit: UnitOption = None,
    rules: RulesOption = None,
    behind_https: Annotated[
        bool, typer.Option("--behind-https", help="A proxy on this machine speaks https to the browsers.")
    ] = False,
) -> None:
    """Serve the records to browsers until interrupted.

    The store is that of PLANNER_DATABASE_URL, else planner.db in the working folder. The first account is made with
    `planner people add`. Away from this machine browsers keep nobody signed in without https: put a proxy that speaks
    it in front, and say so with --behind-https.

    Example: planner serve --port 8000 --unit unit.yaml
    """
    import uvicorn

    from planner.records.store import Store
    from planner.web.app import make_app
    from planner.web.settings import Settings

    rulebook = rulebook_in(rules)
    held = unit_in(Path(unit) if unit else None, rulebook)
    store = Store.open(os.environ.get("PLANNER_DATABASE_URL"))
    secure = behind_https or host not in LOOPBACK
    app = make_app(store, rulebook, held, Settings(secure_cookies=secure))
    if not store.people(active_only=True):
        typer.echo("Nobody has an account yet: planner people add CODE --name NAME --role ROLE", err=True)
    address = f"[{host}]" if ":" in host else host
    typer.echo(f"Serving on http://{address}:{port}/ until interrupted.", err=True)
    try:
        uvicorn.run(
            app, host=host, port=port, log_level="warning", access_log=False, server_header=False,
            proxy_headers=behind_https, forwarded_allow_ips="127.0.0.1",
        )  # fmt: skip
    finally:
        store.close()
