"""The one base of every error that a keeper can cause, and can mend."""


class KeeperError(Exception):
    """Something a keeper can mend: what happened, where, and what to do about it.

    The command line prints it as one line and never with a traceback.  Subclasses name the phase in
    which it happened; they add no fields.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        """`what` happened (no full stop), `where` (file, key, line, port), `remedy` as an instruction."""
        self.what = what
        self.where = where
        self.remedy = remedy
        prefix = f"{where}: " if where else ""
        suffix = f". {remedy}" if remedy else ""
        super().__init__(f"{prefix}{what}{suffix}")
