"""`python -m coach`, and the command `coach`."""

import signal


def run() -> int:
    """Run the command line; return its exit status.

    Ctrl-C before it heeds signals, or after, ends the process without a word, as the system's other signals do: by
    itself Python would show where in its own start it was.
    """
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else it is ignored, as under nohup
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from coach.cli import main

    return main()


if __name__ == "__main__":
    raise SystemExit(run())
