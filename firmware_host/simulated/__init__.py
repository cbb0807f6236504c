"""Boards that exist only in software, speaking the real wire format over real pseudo-terminals."""
