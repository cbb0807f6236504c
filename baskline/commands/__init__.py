"""One module a command.  Nothing heavy is imported until a command runs."""
