"""Runs on the board's interpreter: changes settings as the keeper does at the prompt."""

import json
import os
import sys

import settings

os.chdir(sys.argv[1])
try:
    print(json.dumps(settings.change(**json.loads(sys.argv[2]))))
except ValueError as error:
    print(error)
