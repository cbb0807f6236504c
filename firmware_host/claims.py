"""Which link speaks for a board, where two links claim to be it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DuplicateBoard:
    """Two open links carry the same board identity.  The newer link is believed, the older one is not."""

    board: str
    older_link: int
    newer_link: int


class BoardClaims:
    """The open links' claims to boards.  Links are numbered in order of opening."""

    def __init__(self) -> None:
        self._owners: dict[str, int] = {}
        self._told: set[DuplicateBoard] = set()

    def claim(self, board: str, link: int) -> DuplicateBoard | None:
        """Note that `board` was heard on `link`; return a conflict with another link, once."""
        owner = self._owners.setdefault(board, link)
        if owner == link:
            return None
        duplicate = DuplicateBoard(board, min(owner, link), max(owner, link))
        self._owners[board] = duplicate.newer_link
        if duplicate in self._told:
            return None
        self._told.add(duplicate)
        return duplicate

    def speaks_for(self, board: str, link: int) -> bool:
        """Return whether what `link` says of `board` is to be believed."""
        return self._owners.get(board, link) == link

    def release(self, link: int) -> None:
        """Note that `link` has closed; what it claimed is free, for the older link too."""
        self._owners = {board: owner for board, owner in self._owners.items() if owner != link}
        self._told = {told for told in self._told if link not in (told.older_link, told.newer_link)}
