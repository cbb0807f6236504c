"""A page: its routes and its place in the navigation.

To add one: write `baskline/page/<name>.py` with a `PAGE`, put its template into `templates/`, and name it in
`PAGES` of `app.py`.
"""

from dataclasses import dataclass

from starlette.routing import BaseRoute


@dataclass(frozen=True, slots=True)
class NavEntry:
    """A word in the navigation.  What lies under `path` belongs to it."""

    word: str
    path: str
    for_guests: bool = False

    def is_here(self, path: str) -> bool:
        """Return whether a page belongs to this word."""
        return path == self.path or (self.path != "/" and path.startswith(f"{self.path}/"))


@dataclass(frozen=True, slots=True)
class Page:
    """One page, or some that belong together.

    `guest_paths`: what a guest may look at too; one that ends with a slash stands for all under it.
    """

    routes: tuple[BaseRoute, ...]
    nav: NavEntry | None = None
    guest_paths: tuple[str, ...] = ()
