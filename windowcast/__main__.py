"""``windowcast``, and ``python -m windowcast``."""

import gc
import os
import signal
import sys

gc.set_threshold(100_000)  # a command is over before there is much to collect
if sys.argv[1:2] in (["rank"], ["season"]):
    gc.disable()  # what one answer makes lives to its end: a look for garbage is 5 % of the time
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # nor does it solve what needs more: 6 %
if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
    # while modules are loaded, Ctrl-C ends the program at once, without a trace
    signal.signal(signal.SIGINT, signal.SIG_DFL)

from windowcast.cli import main  # noqa: E402

if __name__ == "__main__":
    main()
