"""The HTTP interface for programs, version 1: what it says stands in baskline/API.md and its own OpenAPI."""
