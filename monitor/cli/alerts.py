"""Commands about alerts: alerts, acknowledge, tell, tell-by."""

from typing import Annotated

import typer

from monitor.cli import exits, options, show

_ON_DEMO = "--store reports/demo/store"


def add_to(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(epilog=options.example(f"wallbow alerts {_ON_DEMO}"))(alerts)
    app.command(
        epilog=options.example(f"wallbow acknowledge ID {_ON_DEMO} --who O1 --note 'called the house'")
        + " (ID from: wallbow alerts --store reports/demo/store)"
    )(acknowledge)
    app.command(epilog=options.example(f"wallbow tell {_ON_DEMO}"))(tell)
    app.command("tell-by", epilog=options.example(f"wallbow tell-by {_ON_DEMO} --public-url https://walls.example"))(
        tell_by
    )


def alerts(
    store: options.StorePath = options.DEFAULT_STORE,
    log: Annotated[bool, typer.Option("--log", help="Who was told when and how, and who acknowledged.")] = False,
    as_csv: options.AsCsv = False,
) -> None:
    """List the alerts that nobody has acknowledged, most urgent first; or the record of all that was told."""
    from monitor import store as stores
    from monitor.pipeline import alert_listing, alerting

    opened = stores.open(store)
    for problem in alerting.look(opened, at=options.moment_in(opened)).problems:
        show.say(problem)
    found = alert_listing.log(opened) if log else alert_listing.open_ones(opened)
    show.listing(found, as_csv=as_csv, in_blocks=not log)


def acknowledge(
    alert: Annotated[
        list[str], typer.Argument(help="Ids of alerts, or their first signs (four or more).", metavar="ALERT...")
    ],
    who: Annotated[str, typer.Option("--who", metavar="PERSON", help="Person id of who acknowledges, as registered.")],
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="What is done about it, in your words.")] = "",
    store: options.StorePath = options.DEFAULT_STORE,
) -> None:
    """Put on record that you know of alerts and see to them: nobody is reminded of them any more."""
    from monitor import store as stores
    from monitor.pipeline import alert_record

    opened = stores.open(store)
    made_at = options.moment_in(opened)
    for found, is_new in alert_record.acknowledge(opened, alert, who=who, note=note, made_at=made_at):
        said = "acknowledged." if is_new else "somebody had acknowledged it already; that stands."
        show.say(f"{found.alert_id} ({found.wall}, {found.row['kind']}): {said}")


def tell(store: options.StorePath = options.DEFAULT_STORE) -> None:
    """Tell the people concerned of alerts: new ones once, those that nobody acknowledged again; and the month's digest.

    Meant to be run every few minutes. What cannot be told now is kept, and told by the next run. How: see `tell-by`.
    """
    from monitor import store as stores
    from monitor.pipeline import telling

    opened = stores.open(store)
    done = telling.tell(opened, options.now)
    for line in telling.said(done, opened):
        show.say(line)
    raise typer.Exit(exits.NOT_TOLD if done.failed or done.has_nobody else exits.OK)


def tell_by(
    store: options.StorePath = options.DEFAULT_STORE,
    mail_host: Annotated[
        str | None, typer.Option("--mail-host", metavar="HOST", help="Mail server (SMTP); '' for the outbox folder.")
    ] = None,
    mail_port: Annotated[
        int | None, typer.Option("--mail-port", metavar="PORT", help="Its port (default 587; 465 with tls).")
    ] = None,
    mail_security: Annotated[
        str | None, typer.Option("--mail-security", metavar="KIND", help="starttls (default), tls, or none.")
    ] = None,
    mail_user: Annotated[
        str | None,
        typer.Option("--mail-user", metavar="USER", help="User; the password comes from WALLBOW_MAIL_PASSWORD."),
    ] = None,
    sender: Annotated[
        str | None, typer.Option("--sender", metavar="ADDRESS", help="Mail address that mails come from.")
    ] = None,
    webhook: Annotated[
        str | None,
        typer.Option("--webhook", metavar="URL", help="Address to post alerts to, signed; '' for none."),
    ] = None,
    public_url: Annotated[
        str | None, typer.Option("--public-url", metavar="URL", help="Where people reach the service, for links.")
    ] = None,
    person: Annotated[
        list[str] | None,
        typer.Option("--person", metavar="PERSON", help="Tell these of all alerts, not the office; '' for the office."),
    ] = None,
) -> None:
    """Show or change how people are told of alerts. No password or secret is kept here: see docs/alerts.md."""
    from monitor import store as stores
    from monitor.pipeline import telling_settings

    opened = stores.open(store)
    given = {
        "host": mail_host,
        "port": mail_port,
        "security": mail_security,
        "user": mail_user,
        "sender": sender,
        "webhook": webhook,
        "public_url": public_url,
    }
    changed = telling_settings.change(
        opened, {name: value for name, value in given.items() if value is not None}, person
    )
    for line in telling_settings.lines(changed):
        show.data(line)
