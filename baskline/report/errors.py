"""What can keep a report from being made."""

from calibrate.errors import KeeperError


class ReportError(KeeperError):
    """A report that cannot be made as asked."""
