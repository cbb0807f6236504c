"""`baskline calibrate`: make, look at, try and check calibrations."""

import typer

from baskline.commands.calibrate.fit import fit
from baskline.commands.calibrate.group import GUIDED, SpotGroup
from baskline.commands.calibrate.predict import predict
from baskline.commands.calibrate.show import show
from baskline.commands.calibrate.spot import spot
from baskline.commands.calibrate.verify import verify

calibrate = typer.Typer(
    cls=SpotGroup,
    help=(
        "Calibrate a spot against a UVI meter.\n\n"
        "`baskline calibrate SPOT` leads through it, from the dark reading to the finished file. The"
        " subcommands do parts of it by themselves.\n\n"
        "\b\nExamples:\n"
        "  baskline calibrate slate\n"
        "  baskline calibrate slate --resume\n"
        "  baskline calibrate verify slate --reference 1.9"
    ),
    subcommand_metavar="SPOT | COMMAND [ARGS]...",
    no_args_is_help=True,
    epilog="SPOT is the spot's key in baskline.toml; its own help: baskline calibrate SPOT --help",
)
calibrate.command(GUIDED, hidden=True)(spot)
calibrate.command("fit")(fit)
calibrate.command("predict")(predict)
calibrate.command("show")(show)
calibrate.command("verify")(verify)
