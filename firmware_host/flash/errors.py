"""What can keep the firmware from a board."""

from calibrate.errors import KeeperError


class FlashError(KeeperError):
    """The firmware could not be put on a board; where nothing else is said, what was there still is."""
