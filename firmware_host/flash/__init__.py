"""The firmware onto a board: what is on each port, what is on a board, the copy, and its settings.

`mpremote`, MicroPython's own tool, does the transfer.  It is run as a command: that is its documented
interface, while its Python modules say of themselves that they will change; and a board that hangs in the
middle can hang no more than that one process.
"""

from firmware_host.flash.board_state import BoardState, look_at_board
from firmware_host.flash.errors import FlashError
from firmware_host.flash.install import (
    Plan,
    change_settings,
    check_settings,
    install,
    plan_install,
    restart,
)
from firmware_host.flash.ports import Occupant, PortLook, look_at_ports
from firmware_host.flash.tool import Mpremote

__all__ = [
    "BoardState",
    "FlashError",
    "Mpremote",
    "Occupant",
    "Plan",
    "PortLook",
    "change_settings",
    "check_settings",
    "install",
    "look_at_board",
    "look_at_ports",
    "plan_install",
    "restart",
]
