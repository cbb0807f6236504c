"""Whether the page's libraries are there; asked before anything of it is loaded."""

from importlib.util import find_spec
from typing import Final

from baskline.page.errors import PageError

_LIBRARIES: Final = ("fastapi", "jinja2", "sse_starlette", "starlette", "uvicorn")


def need_libraries() -> None:
    """Raise `PageError` if the page's libraries are not installed."""
    missing = [name for name in _LIBRARIES if find_spec(name) is None]
    if missing:
        raise PageError(
            "the page's libraries are not installed",
            where="[page]",
            remedy="Install them with: pip install 'baskline[page]'",
        )
