"""The first hour: from an empty folder, or a file that lacks something, to a configuration that loads."""
