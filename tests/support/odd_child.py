"""A child process that does what it is told: `python -m support.odd_child WORD`."""

import json
import os
import subprocess
import sys

from monitor import child  # noqa: F401 - as ours do

match sys.argv[1]:
    case "environment":
        print(json.dumps(dict(os.environ)))
    case "backwards":
        sys.stdout.buffer.write(sys.stdin.buffer.read()[::-1])
    case "fails":
        sys.stderr.write("some trace\nthe card is full\n")
        raise SystemExit(3)
    case "hangs":  # and so does one of its own
        own = subprocess.Popen(["sleep", "600"])
        sys.stdin.read()
        with open(sys.argv[2], "w") as said:
            said.write(str(own.pid))
        own.wait()
    case _:
        raise SystemExit(2)
