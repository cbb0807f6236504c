"""`baskline password`: the page's password, its guests' link, and the token of programs."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, read_config

if TYPE_CHECKING:
    from ingest.config.page import PageConfig


def password(
    config: ConfigOption = DEFAULT_CONFIG,
    guest: Annotated[
        bool, typer.Option("--guest", help="Make a link for guests, who may look and change nothing.")
    ] = False,
    token: Annotated[
        bool, typer.Option("--token", help="Make a token for programs that ask the HTTP interface.")
    ] = False,
) -> None:
    """Set the page's password, or make a link for guests.

    Only a hash is kept, in a file beside the configuration that no other user may read; a link or token is
    shown once. The one before stops working when the page starts again.

    \b
    Examples:
      baskline password
      baskline password --guest
    """
    if guest and token:
        raise typer.BadParameter("make one after the other", param_hint="--guest, --token")
    from baskline.page.secret_files import PasswordHash, TokenHash, new_token, write_secret
    from ingest.config import PageConfig

    present = read_config(config).page
    page = present or PageConfig()
    name = "guest_file" if guest else "token_file" if token else "password_file"
    configured: Path | None = getattr(page, name)
    path = configured or config.parent / f"page-{name.removesuffix('_file')}"
    if guest or token:
        made = new_token()
        write_secret(path, TokenHash.of(made))
        print(f"{_address(page)}guest/{made}" if guest else made)
        kind = "link" if guest else "token"
        print(f"This {kind} is shown only now; {path} keeps a hash of it.", file=sys.stderr)
    else:
        write_secret(path, PasswordHash.of(_asked()))
        print(f"Kept as a hash in {path}.")
    if configured is None:
        table = "to [page] of" if present else "a table [page] to"
        print(f'Now add {table} {config}: {name} = "{path.name}"', file=sys.stderr)
    if (guest or token) and page.password_file is None:
        print("It needs a password beside it: run `baskline password` too.", file=sys.stderr)
    print("It counts from the next start of the page on.", file=sys.stderr)


def _asked() -> str:
    """Return the password that the keeper types twice, or that stands in the first line of a piped input."""
    import getpass

    from baskline.page.errors import SecretFileError
    from baskline.page.secret_files import LEAST_CHARACTERS

    if sys.stdin.isatty():
        typed = getpass.getpass("Password of the page: ")
        if getpass.getpass("Once more: ") != typed:
            raise SecretFileError("the two are not the same", remedy="Nothing was changed; try again")
    else:
        line = sys.stdin.readline()
        if not line:
            raise SecretFileError(
                "no password came: the input was empty", remedy="Type it at a terminal, or pipe a line in"
            )
        typed = line.rstrip("\r\n")
    if len(typed) < LEAST_CHARACTERS:
        raise SecretFileError(
            f"a password of {len(typed)} characters is guessed too soon",
            remedy=f"Take {LEAST_CHARACTERS} or more: three words that do not belong together are good",
        )
    return typed


def _address(page: "PageConfig") -> str:
    from baskline.page.addresses import address_of

    return address_of(page)
