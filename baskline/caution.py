"""What must be said before anybody reaches towards a lamp."""

from typing import Final

LAMP_CAUTION: Final = (
    "Before you reach in: lamps are hot and their UV hurts eyes and skin. Switch the lamp off at its plug,"
    " let it cool, and leave mains wiring to a licensed electrician. baskline only measures; it never"
    " switches a lamp."
)
