"""Runs a program that ends with the one that asked for it, however that one ends. A script of its own:

    python guard.py LIFELINE SCRATCH PROGRAM ARGUMENT ...

LIFELINE is the reading end of a pipe whose other end the asker alone holds, so that it closes with the asker, killed or
not. Then every process of the program's group is ended, and the folder SCRATCH removed. Else the program's exit status
is given back. Loads nothing of xover: it is there in a few hundredths of a second.
"""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from typing import NoReturn

NOT_STARTED = 126
TRIES = 50
"""What is being ended may write a little longer: so often the folder is removed anew."""


def main(lifeline: int, scratch: str, arguments: list[str]) -> NoReturn:
    """Run the program to its end, or to the asker's."""
    os.set_inheritable(lifeline, False)
    try:
        program = subprocess.Popen(arguments, start_new_session=True)
    except OSError as error:
        sys.stderr.write((error.strerror or type(error).__name__).lower() + "\n")
        sys.exit(NOT_STARTED)
    ending = threading.Event()
    watch = threading.Thread(target=_end_with_asker, args=(lifeline, scratch, program, ending), daemon=True)
    watch.start()
    status = program.wait()
    if ending.is_set():
        watch.join()
    _end_group(program)
    if status < 0:
        if -status != signal.SIGKILL:
            signal.signal(-status, signal.SIG_DFL)
        os.kill(os.getpid(), -status)
    sys.exit(status)


def _end_with_asker(lifeline: int, scratch: str, program: "subprocess.Popen[bytes]", ending: threading.Event) -> None:
    os.read(lifeline, 1)  # nothing is ever written: it returns when the pipe is closed
    ending.set()
    _end_group(program)
    for _ in range(TRIES):
        shutil.rmtree(scratch, ignore_errors=True)
        if not os.path.lexists(scratch):
            break
        time.sleep(0.02)
    os._exit(1)


def _end_group(program: "subprocess.Popen[bytes]") -> None:
    # The group keeps its number as long as one process of it lives; without any there is nothing to end.
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(program.pid, signal.SIGKILL)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], sys.argv[3:])
