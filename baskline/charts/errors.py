"""What can keep a chart from being drawn."""

from calibrate.errors import KeeperError


class ChartError(KeeperError):
    """A chart that cannot be drawn or written."""
