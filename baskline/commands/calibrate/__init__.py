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
        "Calibrate a spot against a UVI meter: baskline calibrate SPOT.\n\n"
        "Leads through the calibration of SPOT, from the dark reading to the finished file. The subcommands"
        " do parts of it by themselves."
    ),
    subcommand_metavar="SPOT | COMMAND [ARGS]...",
    no_args_is_help=True,
    epilog="Start here: baskline calibrate SPOT, with SPOT as in baskline.toml",
)
calibrate.command(GUIDED, hidden=True)(spot)
calibrate.command("fit")(fit)
calibrate.command("predict")(predict)
calibrate.command("show")(show)
calibrate.command("verify")(verify)
