"""The commands and their options. Heavy parts are imported by the command that needs them."""

import logging
import sys
from pathlib import Path
from typing import Annotated

import typer

from app.errors import Refusal

command = typer.Typer(
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, help=__doc__
)
judge = typer.Typer(no_args_is_help=True, help="Judge a file, without a database.")
user = typer.Typer(no_args_is_help=True, help="People who may sign in.")
command.add_typer(judge, name="judge")
command.add_typer(user, name="user")

_AsJson = Annotated[bool, typer.Option("--json", help="Print the verdict as JSON.")]


@judge.command("record")
def judge_record(
    record: Annotated[Path, typer.Argument(help="RECORD.csv, a logger's file")],
    cycle: Annotated[Path, typer.Option(help="CYCLE.json")],
    as_json: _AsJson = False,  # noqa: FBT002 - a switch on the command line
) -> None:
    """Judge a furnace record: exit 0 conforms, 1 does not, 3 not proven, 2 bad input."""
    from app.cli.judge_record import judge_record_command  # noqa: PLC0415

    raise typer.Exit(judge_record_command(record, cycle, as_json))


@judge.command("coupon")
def judge_coupon(
    coupon: Annotated[Path, typer.Argument(help="COUPON.json, the coupon and its readings")],
    table: Annotated[Path, typer.Option(help="TABLE.json")],
    as_json: _AsJson = False,  # noqa: FBT002 - a switch on the command line
) -> None:
    """Judge a coupon: exit 0 conforms, 1 does not, 3 not proven, 2 bad input."""
    from app.cli.judge_coupon import judge_coupon_command  # noqa: PLC0415

    raise typer.Exit(judge_coupon_command(coupon, table, as_json))


@command.command()
def schema(
    kind: Annotated[
        str, typer.Argument(help="cycle, record-verdict, table, coupon or coupon-verdict")
    ],
) -> None:
    """Print the JSON Schema of one of the papers that `judge` reads or writes."""
    from app.cli.schemas import schema_command  # noqa: PLC0415

    raise typer.Exit(schema_command(kind))


@command.command()
def migrate() -> None:
    """Bring the database (TEMPERBOOK_DATABASE_URL) to this version's tables."""
    from app.cli.migrate import migrate_command  # noqa: PLC0415

    raise typer.Exit(migrate_command())


@command.command()
def serve(
    host: Annotated[str, typer.Option(help="address to listen on")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="port to listen on")] = 8150,
) -> None:
    """Serve the pages."""
    from app.cli.serve import serve_command  # noqa: PLC0415

    raise typer.Exit(serve_command(host=host, port=port))


@command.command()
def verify(
    head: Annotated[Path | None, typer.Option(help="a signed head that was kept outside")] = None,
    key: Annotated[
        str | None, typer.Option(help="the public key it has to be signed with, 64 hex digits")
    ] = None,
) -> None:
    """Check the trail against every record, and a head from outside: exit 0 it holds, 1 not."""
    from app.cli.verify import verify_command  # noqa: PLC0415

    raise typer.Exit(verify_command(head, key))


@command.command()
def replay(
    limit: Annotated[
        int | None, typer.Option(help="only so many of the newest of each kind", min=1)
    ] = None,
) -> None:
    """Judge all of history again and compare: exit 0 nothing changed, 1 something."""
    from app.cli.replay import replay_command  # noqa: PLC0415

    raise typer.Exit(replay_command(limit))


@command.command("head")
def sign_head(
    out: Annotated[Path | None, typer.Option(help="write it there instead of printing it")] = None,
) -> None:
    """Sign the trail's head and print it, to be kept outside this machine."""
    from app.cli.head import head_command  # noqa: PLC0415

    raise typer.Exit(head_command(out))


@command.command("import-record")
def import_record(
    load: Annotated[str, typer.Argument(help="the load's identity")],
    records: Annotated[list[Path], typer.Argument(help="the logger's files, CSV or XLSX")],
    by: Annotated[str, typer.Option(help="user name of the person who imports it")],
    *,
    mapping: Annotated[
        str | None, typer.Option(help="identity of the approved mapping it is read by")
    ] = None,
    layout: Annotated[
        Path | None, typer.Option(help="a MAPPING.json that states how it is read")
    ] = None,
    time_column: Annotated[
        str | None, typer.Option(help="name of the time column, where it cannot be guessed")
    ] = None,
    fahrenheit: Annotated[bool, typer.Option(help="the file is in degF")] = False,
    reason: Annotated[str, typer.Option(help="why it replaces the record already there")] = "",
) -> None:
    """Import a furnace record for a load and print its verdict; asks for the password."""
    from app.cli.import_record import Told, import_record_command  # noqa: PLC0415

    told = Told(mapping=mapping, layout=layout, time_column=time_column, fahrenheit=fahrenheit)
    raise typer.Exit(import_record_command(load, records, by=by, told=told, reason=reason))


@command.command("send-record")
def send_record(
    record: Annotated[Path, typer.Argument(help="a logger's CSV file, times in column one")],
    load: Annotated[str, typer.Option(help="the load's identity")],
    url: Annotated[str, typer.Option(help="where Temperbook is served")],
    token_file: Annotated[Path, typer.Option(help="a file that holds the logger's token")],
    *,
    speed: Annotated[
        float | None, typer.Option(help="so many times faster than the rows were read", min=0.01)
    ] = None,
    fahrenheit: Annotated[bool, typer.Option(help="the file is in degF")] = False,
    keep_open: Annotated[bool, typer.Option(help="do not close the record at its end")] = False,
) -> None:
    """Send a file row by row as a logger does, each row in its time; goes on where it was cut."""
    from app.cli.send_record import send_record_command  # noqa: PLC0415

    raise typer.Exit(
        send_record_command(
            record,
            load=load,
            url=url,
            token_file=token_file,
            speed=speed,
            fahrenheit=fahrenheit,
            close=not keep_open,
        )
    )


@user.command("add")
def user_add(
    username: Annotated[str, typer.Argument(help="letters, digits and dots")],
    name: Annotated[str, typer.Option(help="full name, printed with each signature")],
    number: Annotated[
        str, typer.Option(help="the person's own number at the works, which nobody else has")
    ],
    role: Annotated[
        list[str],
        typer.Option(help="inspector, supervisor, engineer, auditor or administrator; repeat"),
    ],
) -> None:
    """Open an account; asks for its password (or reads it from standard input)."""
    from app.cli.user_add import user_add_command  # noqa: PLC0415

    raise typer.Exit(
        user_add_command(username, full_name=name, identity_number=number, role_names=role)
    )


def main() -> None:
    """Run the command; a refusal is one sentence on standard error and exit status 2."""
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)
    try:
        command()
    except Refusal as refusal:
        print(refusal.sentence, file=sys.stderr)
        sys.exit(2)
