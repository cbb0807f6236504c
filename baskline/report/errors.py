"""What can keep a report from being made."""

from calibrate.errors import KeeperError


class ReportError(KeeperError):
    """A report that cannot be made as asked."""


class NothingReadError(ReportError):
    """There are no readings of that month."""
