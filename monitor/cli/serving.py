"""The commands of the service: serve, and the accounts of those who may come in."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from monitor.cli import options, show
from monitor.cli.plain_help import PlainTyper

if TYPE_CHECKING:
    from monitor.store import Store

_Person = Annotated[str, typer.Argument(help="Person id, as registered.", metavar="PERSON")]
_FromStdin = Annotated[
    bool, typer.Option("--password-stdin", help="Read the password from the first line of stdin, for scripts.")
]


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example("wallbow serve --store reports/demo/store"))(serve)
    account = PlainTyper(
        help="Accounts: who may come in, and as what.",
        epilog=options.example("wallbow account list --store reports/demo/store"),
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    add = options.example("wallbow account add T1 --role technician --store reports/demo/store")
    account.command("add", epilog=add)(add_account)
    account.command("list", epilog=options.example("wallbow account list --store reports/demo/store"))(list_accounts)
    account.command("close", epilog=options.example("wallbow account close T1 --store reports/demo/store"))(
        close_account
    )
    password = options.example("wallbow account new-password T1 --store reports/demo/store")
    account.command("new-password", epilog=password)(new_password)
    account.command("new-key", epilog=options.example("wallbow account new-key T1 --store reports/demo/store"))(new_key)
    app.add_typer(account, name="account")


def serve(
    store: options.StorePath = options.DEFAULT_STORE,
    host: Annotated[str, typer.Option("--host", metavar="ADDRESS", help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port to listen on.")] = 8765,
    public_url: Annotated[
        str, typer.Option("--public-url", metavar="URL", help="Address people type, where a proxy stands before it.")
    ] = "",
    trusted_proxies: Annotated[
        str,
        typer.Option(
            "--trusted-proxies", metavar="ADDRESSES", help="Proxies whose word on who asks is taken, with commas."
        ),
    ] = "",
    pages: Annotated[
        Path | None,
        typer.Option(
            "--pages",
            metavar="FOLDER",
            help="Folder where `wallbow reports` writes, to show its pages (default: made from the store).",
        ),
    ] = None,
) -> None:
    """Serve pages to browsers and JSON to scripts, to those who have an account; on this machine alone unless told.

    docs/serving.md says how to let others in over TLS. Exit code 15 where that address or port cannot be listened on.
    """
    from monitor import store as stores
    from monitor.web import accounts, serving

    opened = stores.open(store)
    if not any(account.is_open for account in accounts.everyone(opened)):
        show.say("Nobody has an account yet, so nobody can sign in. Add one: wallbow account add PERSON --role office")
    if not serving.is_loopback(host):
        show.say(
            f"{host} can be reached from other machines, and passwords then travel as they are typed. Let a reverse "
            "proxy with TLS stand before it and give --public-url https://...; docs/serving.md says how."
        )
    url = public_url or f"http://{f'[{host}]' if ':' in host else host}:{port}"
    listening = serving.listen(host, port)
    show.say(f"Serving {store} on {host}, port {port}; people reach it by {url}. Stop with Ctrl+C.")
    serving.serve(store, listening, public_url=url, trusted_proxies=trusted_proxies, pages=pages, clock=options.now)


def add_account(
    person: _Person,
    role: Annotated[str, typer.Option("--role", metavar="ROLE", help="technician, office or engineer.")],
    store: options.StorePath = options.DEFAULT_STORE,
    password_stdin: _FromStdin = False,
    key_only: Annotated[bool, typer.Option("--key-only", help="No password: a script, which gets a key.")] = False,
) -> None:
    """Open an account; the password is asked for and not shown."""
    from monitor.terms import STAFF, Role
    from monitor.web import accounts

    opened = _opened(store)
    if role not in STAFF:
        raise typer.BadParameter(f"'{role}' is none of {', '.join(STAFF)}.")
    password = None if key_only else _password(password_stdin)
    made = accounts.add(opened, person, Role(role), password=password, at=options.moment_in(opened))
    _record(opened, "account add", made.account, f"open as {made.role}")
    if key_only:
        show.say(f"{made.account} is open as {made.role}. Make its key: wallbow account new-key {made.account}")
    else:
        show.say(f"{made.account} can now sign in as {made.role}.")


def list_accounts(store: options.StorePath = options.DEFAULT_STORE, as_csv: options.AsCsv = False) -> None:
    """List the accounts as they stand."""
    from monitor.pipeline.listed import Listing
    from monitor.web import accounts

    rows = [
        (each.account, each.role.value, each.state.value, "yes" if each.password_hash else "no",
         "yes" if each.key_hash else "no", f"{each.known_at:%Y-%m-%d %H:%M} UTC")
        for each in accounts.everyone(_opened(store))
    ]  # fmt: skip
    show.listing(Listing("Accounts", ("account", "role", "state", "password", "key", "since"), rows), as_csv=as_csv)


def close_account(person: _Person, store: options.StorePath = options.DEFAULT_STORE) -> None:
    """Close an account: whoever is signed in with it is out at once."""
    from monitor.web import accounts

    opened = _opened(store)
    closed = accounts.close(opened, person, at=options.moment_in(opened))
    _record(opened, "account close", closed.account, "closed")
    show.say(f"The account {closed.account} is closed.")


def new_password(
    person: _Person, store: options.StorePath = options.DEFAULT_STORE, password_stdin: _FromStdin = False
) -> None:
    """Give an account another password; whoever is signed in with the one before is out at once."""
    from monitor.web import accounts

    opened = _opened(store)
    changed = accounts.new_password(opened, person, _password(password_stdin), at=options.moment_in(opened))
    _record(opened, "account new-password", changed.account, "changed")
    show.say(f"{changed.account} has a new password.")


def new_key(person: _Person, store: options.StorePath = options.DEFAULT_STORE) -> None:
    """Make a personal key for scripts, in place of the one before; it is shown this once."""
    from monitor.web import accounts

    opened = _opened(store)
    key = accounts.new_key(opened, person, at=options.moment_in(opened))
    _record(opened, "account new-key", person, "made")
    show.say("Keep this key as you keep a password; it is not shown again. Send it as: Authorization: Bearer KEY")
    show.data(key)


def _opened(store: Path) -> "Store":
    from monitor import store as stores

    return stores.open(store)


def _record(opened: "Store", act: str, account: str, result: str) -> None:
    from monitor.web import audit

    audit.record(
        opened, at=options.moment_in(opened), who=options.me(), act=act, what=account, result=result, address="command"
    )


def _password(from_stdin: bool) -> str:
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True, err=True))
