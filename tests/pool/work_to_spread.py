"""Work spread over two processes, as a program does it. Run as a script:

python work_to_spread.py die        one piece ends its process as a lack of memory would; prints all results
python work_to_spread.py wait       every piece says that it is at work, and is so for ever
"""

import multiprocessing
import os
import signal
import sys
import time

from xover.pool import each
from xover.pool.ends import end_on_signals


def die_in_another_process(number):
    if number == 2 and os.getpid() != int(os.environ["MAIN"]):
        os.kill(os.getpid(), signal.SIGKILL)
    return number**2


def wait_for_ever(number):
    os.write(sys.stdout.fileno(), b"at work\n")  # whole, whatever the other one writes
    while True:
        time.sleep(number)


if __name__ == "__main__":
    end_on_signals()
    os.environ["MAIN"] = str(os.getpid())
    work = {"die": die_in_another_process, "wait": wait_for_ever}[sys.argv[1]]
    print(list(each(work, [1, 2, 3, 4, 5], jobs=2)), "after", len(multiprocessing.active_children()))
