"""`python -m coach`, and the command `coach`."""

import signal


def run() -> int:
    """Run the command line; return its exit status.

    Ctrl-C before or after the command handles signals ends the process silently, as other signals do; Python alone
    would print a traceback.
    """
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # otherwise it is ignored, as under nohup
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from coach.cli import main

    return main()


if __name__ == "__main__":
    raise SystemExit(run())
